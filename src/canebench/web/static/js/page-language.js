// Before uPlot, which writes numbers in the browser's language and does not load where that is none: a machine
// without a language of its own says "C". Numbers are written as in the rest of the page.
Object.defineProperty(navigator, "language", { value: document.documentElement.lang });
