"use strict";
// The search of a book, and what is folded on its pages. The search reads one list of names from a script beside it, fetched when the search is
// first used: nothing is asked of any server, so it works from a file as well.
(() => {
  const here = document.currentScript.src;
  const MOST = 12;
  // A rank from here on is that of a name which does not hold the question, but one spelt nearly so.
  const NEAR = 10000;
  let things = null;
  let waiting = null;

  // What names are compared by: letters and digits alone, without accents of width, in lower case.
  const loose = (text) =>
    text.normalize("NFKC").toLowerCase().normalize("NFKC").replace(/[^\p{L}\p{N}]+/gu, "");

  // Which characters a text holds, as bits: a quick way to see that two texts cannot be near.
  const bits = (text) => {
    let mask = 0;
    for (let i = 0; i < text.length; i++) mask |= 1 << (text.charCodeAt(i) % 31);
    return mask;
  };

  const count = (mask) => {
    let n = 0;
    for (; mask; mask &= mask - 1) n++;
    return n;
  };

  window.bookIndex = (kinds, rows) => {
    things = rows.map(([kind, name, href, ...others]) => ({
      kind: kinds[kind],
      name,
      href,
      keys: [name, ...others].map(loose).filter(Boolean).map((key) => ({ key, mask: bits(key) })),
    }));
  };

  // The fewest slips (a letter wrong, missing, too many, or two changed round) that turn the question into
  // the beginning of a key; more than `most` is told as most + 1. `whole`: into all of the key.
  const slips = (asked, key, most, whole) => {
    const wide = Math.min(key.length, asked.length + most);
    let before = null;
    let last = Array.from({ length: wide + 1 }, (_, i) => i);
    for (let i = 1; i <= asked.length; i++) {
      const now = [i];
      let least = i;
      for (let j = 1; j <= wide; j++) {
        const same = asked[i - 1] === key[j - 1];
        let cost = Math.min(last[j] + 1, now[j - 1] + 1, last[j - 1] + (same ? 0 : 1));
        if (before && j > 1 && asked[i - 1] === key[j - 2] && asked[i - 2] === key[j - 1]) {
          cost = Math.min(cost, before[j - 2] + 1);
        }
        now.push(cost);
        if (cost < least) least = cost;
      }
      if (least > most) return most + 1;
      before = last;
      last = now;
    }
    return whole && wide < key.length ? most + 1 : whole ? last[wide] : Math.min(...last);
  };

  const allowed = (asked) => (asked.length < 3 ? 0 : asked.length < 6 ? 1 : 2);

  // How far a key is from the question: smaller is nearer, null where it is no answer.
  const rank = (asked, mask, key, most) => {
    if (key.key === asked) return 0;
    const at = key.key.indexOf(asked);
    if (at === 0) return 100 + key.key.length;
    if (at > 0) return 1000 + key.key.length;
    if (!most || count(mask & ~key.mask) > most) return null;
    const near = slips(asked, key.key, most, false);
    if (near > most) return null;
    const whole = slips(asked, key.key, most, true);
    return NEAR * near + (whole <= most ? 0 : 2000) + key.key.length;
  };

  const find = (text) => {
    const asked = loose(text);
    if (!asked) return [];
    const mask = bits(asked);
    const most = allowed(asked);
    const met = [];
    for (const thing of things) {
      let least = null;
      for (const key of thing.keys) {
        const r = rank(asked, mask, key, most);
        if (r !== null && (least === null || r < least)) least = r;
      }
      if (least !== null) met.push([least, thing]);
    }
    // Names that hold the question are what was meant; only where there is none may it be a slip.
    const held = met.filter(([r]) => r < NEAR);
    const best = held.length ? held : met;
    best.sort((a, b) => a[0] - b[0] || (a[1].name < b[1].name ? -1 : 1));
    return best.slice(0, MOST).map(([r, thing]) => ({ ...thing, near: r >= NEAR }));
  };

  const load = (then) => {
    if (things) return then();
    if (waiting) return void waiting.push(then);
    waiting = [then];
    const script = document.createElement("script");
    script.src = new URL("index.js", here).href;
    script.onload = () => waiting.forEach((f) => f());
    script.onerror = () => tell("The list of names beside this page is missing; use the index by badge.");
    document.head.append(script);
  };

  // An element with attributes, put into another.
  const put = (into, tag, attributes, text = "") => {
    const made = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
    made.textContent = text;
    into.append(made);
    return made;
  };

  // Made here and not on every page: without this script there is nothing to search with.
  const box = document.getElementById("search");
  put(box, "label", { for: "ask" }, "Search");
  const input = put(box, "input", {
    id: "ask", type: "text", inputmode: "search", enterkeyhint: "go", role: "combobox",
    "aria-expanded": "false", "aria-controls": "found", "aria-autocomplete": "list",
    autocomplete: "off", autocapitalize: "off", spellcheck: "false",
    placeholder: "set, part, number ... ( / )",
  });
  const list = put(box, "ul", { id: "found", role: "listbox", "aria-label": "Found" });
  list.hidden = true;
  const told = put(box, "p", { id: "told", class: "told", role: "status" });
  let shown = [];
  let active = -1;

  const tell = (text) => { told.textContent = text; };

  const mark = (index) => {
    active = index;
    [...list.children].forEach((row, i) => row.setAttribute("aria-selected", String(i === active)));
    if (active < 0) return input.removeAttribute("aria-activedescendant");
    input.setAttribute("aria-activedescendant", `found-${active}`);
    list.children[active].scrollIntoView({ block: "nearest" });
  };

  const close = () => {
    list.hidden = true;
    list.replaceChildren();
    shown = [];
    active = -1;
    input.setAttribute("aria-expanded", "false");
    input.removeAttribute("aria-activedescendant");
  };

  const go = (thing) => { location.href = new URL(thing.href, here).href; };

  const row = (thing, index) => {
    const made = document.createElement("li");
    made.id = `found-${index}`;
    made.setAttribute("role", "option");
    made.setAttribute("aria-selected", "false");
    const name = document.createElement("bdi");
    name.textContent = thing.name;
    const kind = document.createElement("span");
    kind.textContent = thing.near ? `${thing.kind}, spelt nearly so` : thing.kind;
    made.append(name, " ", kind);
    // The press would take the focus from the field before the click is seen.
    made.addEventListener("mousedown", (event) => event.preventDefault());
    made.addEventListener("click", () => go(thing));
    return made;
  };

  const show = () => {
    const text = input.value;
    if (!loose(text)) {
      close();
      return tell("");
    }
    shown = find(text);
    list.replaceChildren(...shown.map(row));
    active = -1;
    input.removeAttribute("aria-activedescendant");
    list.hidden = shown.length === 0;
    input.setAttribute("aria-expanded", String(shown.length > 0));
    box.classList.toggle("empty", shown.length === 0);
    if (shown.length === 0) return tell(`Nothing is called ${text}, or nearly so.`);
    tell(`${shown.length === MOST ? `The nearest ${MOST}` : shown.length} found; arrow keys choose, Enter opens.`);
  };

  const keys = {
    ArrowDown: () => mark(shown.length ? (active + 1) % shown.length : -1),
    ArrowUp: () => mark(shown.length ? (active <= 0 ? shown.length : active) - 1 : -1),
    Enter: () => { if (shown.length) go(shown[Math.max(active, 0)]); },
    Escape: () => { if (list.hidden) input.value = ""; close(); tell(""); },
  };

  input.addEventListener("input", () => { box.classList.remove("empty"); load(show); });
  input.addEventListener("focus", () => load(() => {}));
  input.addEventListener("blur", close);
  input.addEventListener("keydown", (event) => {
    if (!keys[event.key] || event.isComposing) return;
    event.preventDefault();
    // Who types and presses Enter at once is not to wait for the list: it is made first.
    load(() => { if (event.key === "Enter" && list.hidden && input.value) show(); keys[event.key](); });
  });
  document.addEventListener("keydown", (event) => {
    const field = event.target instanceof HTMLElement && event.target.closest("input, textarea, select");
    if (event.key !== "/" || field || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    input.focus();
    input.select();
  });
  box.hidden = false;
})();

// What is folded: opened where an address leads into it, and all of it on paper, where nobody can open it.
(() => {
  const reveal = () => {
    const at = location.hash && document.getElementById(decodeURIComponent(location.hash.slice(1)));
    if (!at) return;
    for (let box = at.closest("details"); box; box = box.parentElement.closest("details")) box.open = true;
    at.scrollIntoView();
  };
  window.addEventListener("hashchange", reveal);
  reveal();

  let opened = [];
  window.addEventListener("beforeprint", () => {
    opened = [...document.querySelectorAll(".cautions details:not([open]), .on-paper:not([open])")];
    opened.forEach((box) => { box.open = true; });
  });
  window.addEventListener("afterprint", () => opened.forEach((box) => { box.open = false; }));
})();
