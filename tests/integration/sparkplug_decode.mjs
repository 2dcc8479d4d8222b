// Decodes payloads of Sparkplug B by the Eclipse project's own library. Use: node sparkplug_decode.mjs FOLDER-OF-NPM FILE...
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";

const [folder, ...files] = process.argv.slice(2);
const library = createRequire(`${folder}/node_modules/`)("sparkplug-payload").get("spBv1.0");
const plain = (_, value) => (value && value.constructor && value.constructor.name === "Long" ? value.toNumber() : value);
for (const file of files) {
  if (file === "--rebirth") {
    const made = library.encodePayload({ timestamp: 1, metrics: [{ name: "Node Control/Rebirth", type: "Boolean", value: true }] });
    console.log(JSON.stringify(Buffer.from(made).toString("hex")));
  } else {
    console.log(JSON.stringify(library.decodePayload(readFileSync(file)), plain));
  }
}
