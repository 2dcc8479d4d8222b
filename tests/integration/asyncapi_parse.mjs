// Reads AsyncAPI documents with the initiative's own parser, a line of JSON for each: node asyncapi_parse.mjs FOLDER_OF_NODE_MODULES FILE…
import { createRequire } from "node:module";
import { readFileSync } from "node:fs";

const [folder, ...files] = process.argv.slice(2);
const { Parser } = createRequire(folder + "/")("@asyncapi/parser");
for (const file of files) {
  const { document, diagnostics } = await new Parser().parse(readFileSync(file, "utf-8"));
  const said = diagnostics.map((one) => ({ severity: one.severity, code: one.code, where: one.path.join("."), text: one.message }));
  console.log(JSON.stringify({ parsed: document !== undefined, channels: document ? document.channels().length : 0, said }));
}
