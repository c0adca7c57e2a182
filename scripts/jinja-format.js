// Lets prettier format our templates: its own HTML parser does not know Jinja, markup_fmt does.
import { readFileSync } from "node:fs";
import { fileURLToPath } from "node:url";
import { createFromBuffer } from "@dprint/formatter";

const PLUGIN = new URL(import.meta.resolve("dprint-plugin-markup/plugin.wasm"));

let formatter;

function format(text, { printWidth, tabWidth }) {
  formatter ??= createFromBuffer(readFileSync(fileURLToPath(PLUGIN)));
  formatter.setConfig(
    { lineWidth: printWidth, indentWidth: tabWidth },
    { preferAttrsSingleLine: true, doctypeKeywordCase: "lower" },
  );
  const [wrong] = formatter.getConfigDiagnostics();
  if (wrong) throw new Error(`${wrong.propertyName}: ${wrong.message}`);
  return formatter.formatText({ filePath: "template.jinja", fileText: text });
}

export const languages = [{ name: "Jinja", parsers: ["jinja"], extensions: [".html"] }];

export const parsers = {
  jinja: {
    parse: (text, options) => ({ text, formatted: format(text, options) }),
    astFormat: "formatted",
    locStart: () => 0,
    locEnd: ({ text }) => text.length,
  },
};

export const printers = {
  formatted: { print: (path) => path.node.formatted },
};
