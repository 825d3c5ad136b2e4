// Files that go to the program, or that it makes when it is asked and the browser keeps.

import { make, say } from "./parts.js";
import { tell } from "./wire.js";

export const post = async (address, body) => {
  const answer = await fetch(address, { method: "POST", body }).catch(() => {
    throw new Error("Lost the laptop; nothing was written.");
  });
  if (!answer.ok) throw new Error((await answer.text()).trim());
  return answer;
};

export const keep = async (answer, name) => {
  const link = make("a", { href: URL.createObjectURL(await answer.blob()), download: name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);
};

// One at a time: meanwhile the words say so, then what came of it; what went wrong is said where faults are.
export const oneFile = async ({ begin, words, meanwhile, what = "" }, work) => {
  begin.disabled = true;
  say(words, meanwhile);
  try {
    say(words, await work());
  } catch (error) {
    say(words, "");
    tell("fault", { text: `${what && `${what}: `}${/** @type {Error} */ (error).message}` });
  }
  begin.disabled = false;
  begin.focus();
};
