// Pieces of sound along a time line: where each begins, and what of it takes the place of earlier ones.
//
// A place is a whole frame of the context's own count; it lies a shift after the engine's frame. What is in
// hand is replaced by what begins before its end: the two differ by a change alone, so a short crossfade
// hides where the new one came too late for its first frames.

const FADE_SECONDS = 0.01;

/**
 * What is in hand: the engine's frame up to which, and how far the context's count is ahead of the engine's.
 * @typedef {{ end: number, shift: number | null }} Line
 * Its two sides are one where both ears hear the same.
 * @typedef {{ first: number, left: Float32Array<ArrayBuffer>, right: Float32Array<ArrayBuffer> }} Piece
 */
/** @type {Line} */
export const EMPTY = { end: 0, shift: null };

/**
 * Where a piece goes, which may begin at `soonest` at the earliest: `skip` frames of it are too late.
 * @param {Line} line
 * @param {{ first: number, frames: number }} piece
 * @param {number} soonest
 */
export const placed = ({ end, shift }, { first, frames }, soonest) => {
  const gap = shift === null || (first >= end && first + shift < soonest);
  if (gap || first + frames + shift <= soonest)
    return {
      begin: soonest,
      skip: 0,
      replaces: false,
      line: { end: first + frames, shift: soonest - first },
    };
  const begin = Math.max(first + shift, soonest);
  return {
    begin,
    skip: begin - shift - first,
    replaces: begin - shift < end,
    line: { end: first + frames, shift },
  };
};

/**
 * Let a piece come up from its frame `skip` on, over what the others have there.
 * @param {Piece} piece
 * @param {Piece[]} others
 * @param {number} skip
 * @param {number} rate
 */
export const crossfade = (piece, others, skip, rate) => {
  const fade = Math.min(Math.round(FADE_SECONDS * rate), piece.left.length - skip);
  if (others.some(({ left, right }) => left !== right)) piece.right = piece.right.slice();
  /** @type {("left" | "right")[]} */
  const sides = piece.left === piece.right ? ["left"] : ["left", "right"];
  for (const side of sides) {
    for (let n = 0; n < fade; n += 1) {
      const frame = piece.first + skip + n;
      const other = others.find(({ first, left }) => frame >= first && frame < first + left.length);
      const before = other?.[side][frame - other.first] ?? 0;
      const share = (n + 0.5) / fade;
      piece[side][skip + n] = before + share * (piece[side][skip + n] - before);
    }
  }
};
