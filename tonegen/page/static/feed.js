// A worker that carries sound from the engine to the loudspeaker, so that a busy page makes no gaps.
// The loudspeaker says how much it has played; as much is asked for, so that it always has the same in hand.

const BLOCK = 1024;
const IN_HAND = 5 * BLOCK;

onmessage = ({ data: { url, node } }) => {
  const socket = new WebSocket(url);
  socket.binaryType = "arraybuffer";
  const want = (frames, heard) => {
    if (socket.readyState === WebSocket.OPEN) socket.send(JSON.stringify({ frames, heard_frame: Math.round(heard) }));
  };
  socket.onopen = () => { for (let asked = 0; asked < IN_HAND; asked += BLOCK) want(BLOCK, 0); };
  socket.onmessage = ({ data }) => node.postMessage(data, [data]);
  socket.onclose = () => postMessage("closed");
  node.onmessage = ({ data: { frames, heard } }) => want(frames, heard);
};
