// What an element shows stands in a <template> within it, in the page's own HTML; here it takes the place of the
// words for those without scripts.

// Shows it, and gives its places by their names.
export function placesOf(element) {
  const template = element.querySelector("template");
  element.replaceChildren(template, template.content.cloneNode(true));
  const found = element.querySelectorAll("[data-place]");
  return Object.fromEntries(Array.from(found, (place) => [place.dataset.place, place]));
}

// A line of a list for each sentence.
export function lines(said) {
  return said.map((textContent) => Object.assign(document.createElement("li"), { textContent }));
}

// Puts a picture, an SVG that the bench drew, into its place: read as a drawing, never as HTML.
export function draw(place, svg) {
  place.replaceChildren(new DOMParser().parseFromString(svg, "image/svg+xml").documentElement);
}
