// Every page works without this. With it: the theme changes at once, and a form cannot be sent twice by a
// trembling thumb.
document.querySelector("#theme")?.addEventListener("change", (event) => {
  event.target.form.requestSubmit();
});

for (const form of document.querySelectorAll("form[method=post]")) {
  form.addEventListener("submit", (event) => {
    if (form.dataset.sent) event.preventDefault();
    form.dataset.sent = "yes";
  });
}
// A page that comes back from the browser's memory may send its forms again.
window.addEventListener("pageshow", () => {
  for (const form of document.querySelectorAll("form[data-sent]")) delete form.dataset.sent;
});
