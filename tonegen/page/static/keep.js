// Files that the program makes when it is asked, and that the browser keeps.

import { make } from "./parts.js";

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
