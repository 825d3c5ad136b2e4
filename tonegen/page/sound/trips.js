// How far the server's clock is ahead of this page's, by the quickest of the last round trips.
//
// A trip that took t ms says it to within t / 2, however unlike its two ways were (D. Mills, RFC 5905: the
// clock filter); with its age that grows by what two clocks may drift apart.

const KEPT = 16;
const DRIFT = 50e-6; // the quartz of two cheap clocks, each within 25 parts in a million

export class Trips {
  /** @type {{ ahead: number, within: number, at: number }[]} */
  #trips = [];

  /**
   * A question that went out at `sent`, was answered at the server's `clock`, and came back at `now`, in ms.
   * @param {number} sent
   * @param {number} clock
   * @param {number} now
   */
  add(sent, clock, now) {
    this.#trips.push({ ahead: clock - (sent + now) / 2, within: (now - sent) / 2, at: now });
    if (this.#trips.length > KEPT) this.#trips.shift();
  }

  /**
   * In ms; null before the first answer.
   * @returns {number | null}
   */
  get ahead() {
    const last = this.#trips.at(-1);
    if (!last) return null;
    const doubt = ({ within, at }) => within + DRIFT * (last.at - at);
    return this.#trips.reduce((best, one) => (doubt(one) <= doubt(best) ? one : best)).ahead;
  }
}
