// The support bundle: one file for whoever helps, made by the station, handed to the browser to keep.

import { button, make, put, section } from "./dom.js";
import { refusal } from "./line.js";
import { say } from "./say.js";

const WAITS_MS = 30000;
const KEPT_MS = 60000; // for so long the browser may take what it was handed

/** A part of the view Station. */
export function supportPanel() {
  const told = make("p", "support-told");
  told.setAttribute("role", "status");
  let isBusy = false;
  const take = button("support-take", say("support.take"), async () => {
    if (isBusy) return;
    isBusy = true;
    put(told, say("support.making"));
    put(told, await handed());
    isBusy = false;
  });
  return section("panel", "support", say("support.title"), make("p", "quiet", say("support.says")), take, told);
}

/** Hand the bundle to the browser; what became of it. */
async function handed() {
  let answer, content;
  try {
    answer = await fetch("/api/1/support", { signal: AbortSignal.timeout(WAITS_MS) });
    content = await answer.blob();
  } catch {
    return say("support.lost");
  }
  if (!answer.ok) {
    const body = await content.text().then(JSON.parse).catch(() => null);
    return refusal(body, answer.status, 0, true);
  }
  const link = make("a");
  const [, name] = /filename="([^"]+)"/.exec(answer.headers.get("content-disposition") || "") || [];
  link.download = name || "warmwell-support.zip";
  link.href = URL.createObjectURL(content);
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), KEPT_MS);
  return say("support.taken", { file: link.download });
}
