// What stands above each page of Do: the way back to the list, and what it is about.

import { make } from "../dom.js";
import { say } from "../say.js";

export function headOf(title, ...more) {
  const back = make("a", "back-to", `‹ ${say("view.do")}`);
  back.href = "#do";
  const heading = make("h2", "doing-title", title);
  heading.tabIndex = -1; // the keyboard begins here
  return make("div", "doing-head", back, heading, ...more);
}
