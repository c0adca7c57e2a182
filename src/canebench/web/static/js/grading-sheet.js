// <grading-sheet>: a lot's sheet worked by keyboard. Each row is sent as it is left; what the bench answers stands in
// the rows at once. Without this the sheet is one form with one button.

const TEXTS = ["gauge", "mouth", "than", "remarks"];
const TICKS = ["marks", "aside", "insist", "over"];
const STAYS = "What you typed stays here.";

// How many rows a key goes on by; on a link, and in a list of words, keys do what they do elsewhere.
function stepOf({ key, shiftKey, target }) {
  if (target.matches("a")) return 0;
  if (key === "Enter") return shiftKey ? -1 : 1;
  if (target.matches("select")) return 0;
  return { ArrowUp: -1, ArrowDown: 1 }[key] ?? 0;
}

// Among the marks of a reed the arrows left and right lead from one to the next.
function beside(event) {
  const step = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
  const marks = event.target.closest(".seen");
  if (!step || !marks) return;
  const ticks = [...marks.querySelectorAll("input")];
  event.preventDefault();
  ticks[ticks.indexOf(event.target) + step]?.focus();
}

class GradingSheet extends HTMLElement {
  connectedCallback() {
    this.form = this.querySelector("#sheet");
    this.rows = [...this.querySelectorAll("[data-reed]")];
    this.places = Object.fromEntries(
      Array.from(this.querySelectorAll("[data-place]"), (place) => [place.dataset.place, place]),
    );
    this.kept = `grading ${location.pathname}`;
    this.sending = Promise.resolve();
    this.restore();
    this.addEventListener("keydown", (event) => this.key(event));
    this.addEventListener("input", (event) => this.typed(event.target.closest("[data-reed]")));
    this.addEventListener("change", (event) => this.compared(event.target));
    this.addEventListener("focusout", (event) => this.left(event));
    this.form.addEventListener("submit", (event) => this.submitted(event, () => this.saveAll()));
    this.places.undo.addEventListener("submit", (event) => this.submitted(event, () => this.undo()));
    for (const select of document.querySelectorAll(".grading-told select"))
      select.addEventListener("change", () => this.told(select.form));
    (this.rows.find((row) => !this.field(row, "gauge").value) ?? this.rows[0])
      .querySelector("input:not([type=hidden])")
      .focus();
    // A field shows one line of its text; on paper there stands all of it.
    window.addEventListener("beforeprint", () => {
      for (const place of this.querySelectorAll(".for-paper"))
        place.textContent = place.nextElementSibling.value;
    });
    // A row that is being typed in is not lost where the page is left in the middle of it.
    window.addEventListener("pagehide", () =>
      this.rows.filter((row) => this.waits(row)).forEach((row) => this.send(row)),
    );
  }

  // Fields of a row by the beginning of their names.
  fields(row, name) {
    return [...row.querySelectorAll(`[name="${name}-${row.dataset.reed}"]`)];
  }

  field(row, name) {
    return this.fields(row, name)[0];
  }

  part(row, name) {
    return row.querySelector(`[data-part="${name}"]`);
  }

  read(row) {
    return JSON.parse(this.field(row, "read").value);
  }

  // What is typed in a row, as text that can be compared and put by.
  content(row) {
    const told = TEXTS.map((name) => [name, this.field(row, name).value.trim()]);
    const ticked = TICKS.map((name) => [
      name,
      this.fields(row, name)
        .filter((one) => one.checked)
        .map((one) => one.value),
    ]);
    return Object.fromEntries([...told, ...ticked]);
  }

  fill(row, content) {
    for (const name of TEXTS) this.field(row, name).value = content[name];
    for (const name of TICKS)
      for (const one of this.fields(row, name)) one.checked = (content[name] ?? []).includes(one.value);
  }

  // Whether a row waits: it is not as the bench has it, nor as the bench refused it.
  waits(row) {
    const now = this.content(row);
    return !this.same(row, now) && JSON.stringify(now) !== row.dataset.refused;
  }

  same(row, now) {
    const { content } = this.read(row);
    const marks = [...content.marks].sort().join();
    return (
      TEXTS.every((name) => now[name] === content[name]) &&
      [...now.marks].sort().join() === marks &&
      !now.aside.length
    );
  }

  key(event) {
    const row = event.target.closest("[data-reed]");
    const held = event.ctrlKey || event.metaKey || event.altKey;
    if (held && event.key === "z" && !event.shiftKey && !event.altKey) this.undoKey(event, row);
    if (!held) beside(event);
    const step = held || !row ? 0 : stepOf(event);
    if (!step) return;
    event.preventDefault();
    this.go(row, event.target, step);
  }

  // What is typed and not yet written down is the browser's to undo.
  undoKey(event, row) {
    if (this.places.undo.hidden || (row && !this.same(row, this.content(row)))) return;
    event.preventDefault();
    this.undo();
  }

  go(row, from, step) {
    const next = this.rows[this.rows.indexOf(row) + step];
    if (!next) {
      this.save(row);
      return;
    }
    const name = from.name.replace(/-\d+$/, "");
    const at = this.fields(row, name).indexOf(from);
    const below = this.fields(next, name)[at];
    const goal = below?.checkVisibility() ? below : this.field(next, "gauge");
    goal.focus({ preventScroll: true });
    goal.select?.();
    next.scrollIntoView({ block: "nearest" });
  }

  // By mouth a whole box is compared with one reed: its number is told once.
  compared(field) {
    const row = field.closest("[data-reed]");
    if (!row || !field.name.startsWith("mouth")) return;
    const than = this.field(row, "than");
    if (field.value && !than.value) than.value = this.than ?? "";
    if (!field.value) than.value = "";
    this.typed(row);
  }

  typed(row) {
    if (!row) return;
    this.than = this.field(row, "than").value || this.than;
    this.putBy();
  }

  // Drafts outlive a reload, with what was read before them; what the bench has is none.
  putBy() {
    const waiting = this.rows.filter((row) => !this.same(row, this.content(row)));
    const drafts = waiting.map((row) => [
      row.dataset.reed,
      {
        content: this.content(row),
        read: this.field(row, "read").value,
        asked: Boolean(this.field(row, "asked")),
      },
    ]);
    sessionStorage.setItem(this.kept, JSON.stringify(Object.fromEntries(drafts)));
  }

  restore() {
    const drafts = JSON.parse(sessionStorage.getItem(this.kept) ?? "{}");
    for (const row of this.rows) {
      const draft = drafts[row.dataset.reed];
      if (!draft || this.same(row, draft.content)) continue;
      this.fill(row, draft.content);
      this.field(row, "read").value = draft.read;
      this.asked(row, draft.asked);
    }
    this.putBy();
    this.saveAll();
  }

  left(event) {
    const row = event.target.closest("[data-reed]");
    if (!row || row.contains(event.relatedTarget)) return;
    if (this.same(row, this.content(row))) this.settle(row, {});
    else this.save(row);
  }

  submitted(event, act) {
    event.preventDefault();
    delete event.target.dataset.sent;
    act();
  }

  saveAll() {
    for (const row of this.rows) if (!this.same(row, this.content(row))) this.save(row, true);
  }

  // One after the other, so that each answer is that of what was sent last.
  save(row, again = false) {
    if (!again && !this.waits(row)) return;
    this.sending = this.sending.then(() => this.send(row));
  }

  async send(row) {
    const sent = JSON.stringify(this.content(row));
    if (this.same(row, this.content(row))) return;
    const body = new FormData();
    for (const one of this.form.querySelectorAll(":scope > [type=hidden]")) body.append(one.name, one.value);
    for (const one of row.querySelectorAll("input, select"))
      if (one.form === this.form && (one.type !== "checkbox" || one.checked))
        body.append(one.name, one.value);
    const told = await this.ask(this.form.action, body);
    if (!told) return;
    this.show(told, row, sent);
    const { number } = row.dataset;
    const said = told.rows[row.dataset.reed]?.why
      ? `Reed ${number} is not saved: see its row.`
      : `${told.said || "Nothing new"}. ${told.graded} of the lot have a place.`;
    this.say(said[0].toUpperCase() + said.slice(1));
  }

  async ask(address, body) {
    try {
      const answer = await fetch(address, {
        method: "POST",
        body,
        headers: { accept: "application/json" },
        keepalive: true,
      });
      if (answer.headers.get("content-type")?.startsWith("application/json")) return await answer.json();
      this.say(`Not saved: the bench answered ${answer.status}. ${STAYS} Load the page anew.`);
    } catch {
      this.say(`Not saved: the bench does not answer. ${STAYS}`);
    }
    return null;
  }

  // Rows that nobody is typing in follow the bench; the one that was sent stands as it was kept, or says why not.
  show(told, sent, content) {
    for (const row of this.rows) {
      const now = told.rows[row.dataset.reed];
      if (!now) continue;
      const untouched = this.same(row, this.content(row));
      this.part(row, "place").textContent = now.place;
      this.set(row, "minds", now.minds);
      this.part(row, "more").hidden = this.part(row, "why").hidden && !now.minds;
      this.part(row, "aside").hidden = !now.aside;
      if (row === sent) this.answered(row, now, content);
      else if (untouched) this.take(row, now);
    }
    this.places.order.textContent = told.order || "none yet";
    this.places.undo.hidden = !told.last;
    if (told.last) this.places.undo.action = `/undo/${told.last.act}`;
    this.putBy();
    // A row that grew may have pushed the one that is typed in under the edge.
    document.activeElement.closest("[data-reed]")?.scrollIntoView({ block: "nearest" });
  }

  answered(row, now, content) {
    const typedOn = JSON.stringify(this.content(row)) !== content;
    this.settle(row, now);
    if (now.why) row.dataset.refused = content;
    if (!now.why || now.stale) this.field(row, "read").value = now.read;
    if (!now.why && !typedOn) this.fill(row, this.read(row).content);
  }

  // What is said of a row beside what is typed in it: why it was refused and what would have it taken, or nothing.
  settle(row, { why = "", field = "", insist = false, stale = false }) {
    delete row.dataset.refused;
    this.set(row, "why", why);
    this.part(row, "insist").hidden = !insist;
    this.part(row, "stale").hidden = !stale;
    this.part(row, "more").hidden = !why && this.part(row, "minds").hidden;
    for (const name of ["gauge", "mouth", "than"]) {
      const wrong = why && (field || "gauge") === name;
      this.field(row, name).setAttribute("aria-invalid", wrong ? "true" : "false");
    }
    this.asked(row, stale);
  }

  // Whether a row waits for the answer that it is to be written over another's.
  asked(row, stale) {
    this.field(row, "asked")?.remove();
    if (!stale) return;
    const asked = Object.assign(document.createElement("input"), { type: "hidden", value: "1" });
    asked.name = `asked-${row.dataset.reed}`;
    row.querySelector("th").append(asked);
  }

  take(row, now) {
    this.field(row, "read").value = now.read;
    this.fill(row, this.read(row).content);
  }

  set(row, name, said) {
    const part = this.part(row, name);
    part.textContent = said;
    part.hidden = !said;
  }

  undo() {
    const { action } = this.places.undo;
    this.sending = this.sending.then(async () => {
      const before = this.rows.map((row) => this.field(row, "read").value);
      const told = await this.ask(action, new FormData(this.places.undo));
      if (!told) return;
      this.show(told);
      const undone = this.rows.find((row, n) => this.field(row, "read").value !== before[n]);
      this.field(undone ?? this.rows[0], "gauge").focus();
      this.say("The last entry is undone.");
    });
  }

  told(form) {
    this.saveAll();
    this.sending.then(() => form.requestSubmit());
  }

  say(said) {
    this.places.said.textContent = said;
  }
}

customElements.define("grading-sheet", GradingSheet);
