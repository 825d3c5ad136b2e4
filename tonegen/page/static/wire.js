// The WebSocket to the engine: what is asked goes out, what is shown comes in, by kind.

/**
 * @typedef {import("./messages.js").Asks} Asks
 * @typedef {{ open: undefined, closed: { code: number, reason: string } }} OfTheSocket
 * @typedef {import("./messages.js").Shows & OfTheSocket} Shows
 */

/** @type {Map<string, ((message: any) => void)[]>} */
const listeners = new Map();
/** @type {WebSocket | null} */
let socket = null;
let waitSeconds = 0.2;

/**
 * @template {keyof Shows} Kind
 * @param {Kind} kind
 * @param {(message: Shows[Kind]) => void} listener
 */
export const hear = (kind, listener) => {
  listeners.set(kind, [...(listeners.get(kind) ?? []), listener]);
};

/**
 * @template {keyof Shows} Kind
 * @param {Kind} kind
 * @param {Shows[Kind]} [message]
 */
export const tell = (kind, message) => {
  for (const listener of listeners.get(kind) ?? []) listener(message);
};

/**
 * @template {keyof Asks} Action
 * @param {Action} action
 * @param {{} extends Asks[Action] ? [fields?: Asks[Action]] : [fields: Asks[Action]]} given
 */
export const ask = (action, ...given) => {
  const [fields] = given;
  if (socket?.readyState === WebSocket.OPEN) socket.send(JSON.stringify({ do: action, ...fields }));
};

// At most one message a frame: a drag gives many positions, and only the last matters.
const waiting = new Map();
/**
 * @template {keyof Asks} Action
 * @param {Action} action
 * @param {Asks[Action]} fields
 */
export const askSoon = (action, fields) => {
  if (waiting.size === 0)
    requestAnimationFrame(() => {
      for (const [what, those] of waiting) ask(what, those);
      waiting.clear();
    });
  waiting.set(action, fields);
};

export const connect = () => {
  socket = new WebSocket(`ws://${location.host}/engine`);
  socket.onopen = () => tell("open");
  socket.onmessage = ({ data }) => {
    waitSeconds = 0.2;
    const message = JSON.parse(data);
    tell(message.type, message);
  };
  socket.onclose = ({ code, reason }) => {
    tell("closed", { code, reason });
    setTimeout(connect, 1000 * waitSeconds);
    waitSeconds = Math.min(2 * waitSeconds, 3);
  };
};

export const pingEvery = (seconds) => {
  const ping = () => {
    if (!document.hidden) ask("ping", { sent_ms: performance.now() });
  };
  hear("open", () => {
    for (const at of [0, 100, 200, 300, 500, 700, 1000]) setTimeout(ping, at);
  });
  setInterval(ping, 1000 * seconds);
};
