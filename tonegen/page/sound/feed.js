// A worker that carries sound from the engine to the loudspeaker, so that a busy page makes no gaps.
// The loudspeaker says how much it has played; as much is asked for, so that it always has the same in hand.

const BLOCK = 1024;

addEventListener("message", ({ data: { url, node, inHand } }) => {
  const socket = new WebSocket(url);
  socket.binaryType = "arraybuffer";
  const want = (frames, heard) => {
    if (socket.readyState === WebSocket.OPEN)
      socket.send(JSON.stringify({ frames, heard_frame: Math.round(heard) }));
  };
  socket.onopen = () => {
    for (let asked = 0; asked < inHand; asked += 1) want(BLOCK, 0);
  };
  socket.onmessage = ({ data }) => node.postMessage(data, [data]);
  socket.onclose = () => postMessage("closed");
  node.onmessage = ({ data: { frames, heard } }) => want(frames, heard);
});
