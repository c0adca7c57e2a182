// The page's scripts, which browsers run as they are, and what checks them.
import js from "@eslint/js";
import globals from "globals";

// A tag within a text. A selector would end its pattern at a slash, so that is written \x2f.
const MARKUP = "/<[!\\x2f]?[a-z][a-z0-9-]*[\\s>\\x2f]/i";
const IN_TEMPLATES = "HTML stands in templates: put it into a template element and clone it.";

const rules = {
  ...js.configs.recommended.rules,
  "array-callback-return": "error",
  complexity: ["error", 12],
  "consistent-return": "error",
  "default-case-last": "error",
  eqeqeq: "error",
  "guard-for-in": "error",
  "max-depth": ["error", 3],
  "max-lines": ["error", 350],
  "max-lines-per-function": ["error", 60],
  "max-params": ["error", 5],
  "no-alert": "off",
  "no-console": "error",
  "no-else-return": "error",
  "no-eval": "error",
  "no-extend-native": "error",
  "no-implied-eval": "error",
  "no-lonely-if": "error",
  "no-new-func": "error",
  "no-param-reassign": "error",
  "no-promise-executor-return": "error",
  "no-restricted-syntax": [
    "error",
    { selector: `Literal[value=${MARKUP}]`, message: IN_TEMPLATES },
    { selector: `TemplateElement[value.raw=${MARKUP}]`, message: IN_TEMPLATES },
    { selector: "MemberExpression[property.name=/^(inner|outer)HTML$/]", message: IN_TEMPLATES },
    { selector: "MemberExpression[property.name='insertAdjacentHTML']", message: IN_TEMPLATES },
    {
      selector: "CallExpression[callee.property.name='write'][callee.object.name='document']",
      message: IN_TEMPLATES,
    },
  ],
  "no-return-assign": "error",
  "no-self-compare": "error",
  "no-shadow": "error",
  "no-template-curly-in-string": "error",
  "no-unmodified-loop-condition": "error",
  "no-unreachable-loop": "error",
  "no-unused-expressions": "error",
  "no-use-before-define": "error",
  "no-useless-concat": "error",
  "no-useless-rename": "error",
  "no-var": "error",
  "object-shorthand": "error",
  "prefer-const": "error",
  "prefer-template": "error",
  radix: "error",
};

export default [
  { ignores: ["**/vendor/", "build/", ".venv/"] },
  { linterOptions: { reportUnusedDisableDirectives: "error" } },
  { files: ["**/*.js"], rules },
  { files: ["src/**/*.js"], ignores: ["**/*-worklet.js"], languageOptions: { globals: globals.browser } },
  { files: ["src/**/*-worklet.js"], languageOptions: { globals: globals.audioWorklet } },
  { files: ["eslint.config.js", "scripts/**"], languageOptions: { globals: globals.node } },
];
