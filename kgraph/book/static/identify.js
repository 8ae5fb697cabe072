"use strict";
// What is this set? What was seen against every recorded set, as the command weighs it, without a server.
// The names of the steps are those of the program: a look, its share, a pattern, the weights, the families.
(() => {
  const GROWTH = 0.08;
  const OUTLIER = 3;
  const LEAST_SHOWN = 0.001;
  const SHOWN = 5;
  const SHOWN_UNASKED = 3; // before anything was seen all are as likely as each other
  let data = null;

  const sum = (numbers) => numbers.reduce((a, b) => a + b, 0);
  const log = (x) => (x > 0 ? Math.log(x) : -Infinity);

  // The complement of the error function: its series near the middle, a continued fraction far out.
  const erf = (x) => {
    let term = x;
    let whole = x;
    for (let n = 1; n < 200 && Math.abs(term) > 1e-17 * Math.abs(whole); n++) {
      term *= (-x * x) / n;
      whole += term / (2 * n + 1);
    }
    return (2 / Math.sqrt(Math.PI)) * whole;
  };
  const logErfc = (x) => {
    if (x < 2) return Math.log(1 - erf(x));
    let tail = 0;
    for (let n = 80; n > 0; n--) tail = n / 2 / (x + tail);
    return -x * x - Math.log((x + tail) * Math.sqrt(Math.PI));
  };
  const logNormal = (value, mean, error) =>
    -0.5 * ((value - mean) / error) ** 2 - Math.log(error) - 0.5 * Math.log(2 * Math.PI);
  const logBetween = (low, high) => {
    let [lower, upper] = low + high < 0 ? [-high, -low] : [low, high];
    lower /= Math.SQRT2;
    upper /= Math.SQRT2;
    if (lower <= 0) return Math.log(0.5 * (2 - Math.exp(logErfc(upper)) - Math.exp(logErfc(-lower))));
    const near = logErfc(lower);
    return Math.log(0.5) + near + Math.log(-Math.expm1(logErfc(upper) - near));
  };
  const logWorn = (value, rest, error) => {
    const grown = GROWTH * rest;
    if (grown / error < 1e-6) return logNormal(value, rest + grown / 2, error);
    return logBetween((value - rest - grown) / error, (value - rest) / error) - Math.log(grown);
  };

  // From the data as they are sent to what is asked of them.
  const opened = (sent) => {
    const first = sent.assemblies.length;
    const owners = [...sent.assemblies, ...sent.sets];
    const near = owners.map(() => []);
    for (const [one, other, uses, certain, out = []] of sent.links) {
      const link = { certainty: sent.certain[certain], out: new Set(out), assembly: uses ? other : -1 };
      near[one].push({ ...link, other });
      near[other].push({ ...link, other: one });
    }
    const keys = sent.keys.map((key, at) => {
      const has = new Map();
      for (const [values, certain, steps] of key.has) {
        let owner = 0;
        for (const step of steps) {
          owner += step;
          has.set(owner, { values: [values].flat(), certainty: sent.certain[certain], source: owner });
        }
      }
      return { ...key, at, has, misread: key.misread ?? 0.05, declaring: new Set(key.place ?? []) };
    });
    const members = new Map();
    sent.families.forEach((family, set) => {
      if (!members.has(family)) members.set(family, []);
      members.get(family).push(first + set);
    });
    return { ...sent, first, owners, near, keys, members, family: (owner) => sent.families[owner - first] };
  };

  // For every owner the surest record, through sisters and what a set is built on.
  const spread = (key, has, region) => {
    const found = new Map(has);
    const queue = [];
    const before = (a, b) => a.certainty - b.certainty || b.owner - a.owner || b.from - a.from;
    const put = (way) => {
      let low = 0;
      let high = queue.length;
      while (low < high) {
        const middle = (low + high) >> 1;
        if (before(queue[middle], way) < 0) low = middle + 1;
        else high = middle;
      }
      queue.splice(low, 0, way);
    };
    const reach = (from) => {
      for (const link of data.near[from]) {
        if (found.has(link.other) || (region && !region.has(link.other)) || link.out.has(key.at)) continue;
        const carried = key.place && link.assembly >= 0 ? key.declaring.has(link.assembly) : link.other !== link.assembly;
        if (carried) put({ certainty: found.get(from).certainty * link.certainty, owner: link.other, from });
      }
    };
    for (const owner of has.keys()) reach(owner);
    while (queue.length) {
      const { certainty, owner, from } = queue.pop();
      if (found.has(owner)) continue;
      found.set(owner, { ...found.get(from), certainty });
      reach(owner);
    }
    return found;
  };

  const UNWRITTEN = "unwritten";
  const ANOTHER = -1;
  // All values that a look at the key can show; as many numbers as there are, without their names.
  const known = (key, value) => {
    const all = new Set([...key.has.values()].flatMap((k) => k.values));
    if (value !== undefined) all.add(value);
    const [yes, no] = key.yes ?? [];
    if (key.yes && (all.has(yes) || all.has(no))) all.add(yes < 0 ? "yes" : yes).add(no < 0 ? "no" : no);
    else if (all.size === 1) all.add(UNWRITTEN);
    return all;
  };
  const chanceOf = (values, value, all, misread) => {
    const many = new Set([...all, ...values, value]).size;
    if (values.length === many) return 1 / values.length;
    return values.includes(value) ? (1 - misread) / values.length : misread / (many - values.length);
  };
  const shareOf = (rows, value, all) =>
    (sum(rows.map((values) => (values.includes(value) ? 1 / values.length : 0))) + 1) / (rows.length + all.size);

  const rowsOf = (key, at) => {
    const own = [...key.has].filter(([owner]) => owner >= data.first).map(([, k]) => k.values);
    return own.length ? own : [...at].filter(([owner]) => owner >= data.first).map(([, k]) => k.values);
  };

  const whole = (key) => (key.whole ??= key.alone ? key.has : spread(key, key.has));

  // One look: its share, and for each set its chance and whether it disagrees.
  const fitting = (look) => {
    const key = data.keys[look.key];
    const at = whole(key);
    const told = look.mm === undefined ? ofValue(key, at, look) : ofMeasure(key, at, look);
    const rows = new Map();
    for (const [owner, k] of told.at) {
      if (owner < data.first) continue;
      const alone = told.by(k.values);
      rows.set(owner, { ...k, apart: told.apart(k.values), chance: k.certainty * alone + (1 - k.certainty) * told.share });
    }
    return { look, key, share: told.share, rows };
  };
  const ofValue = (key, at, look) => {
    const all = known(key, look.value);
    return {
      at,
      share: shareOf(rowsOf(key, at), look.value, all),
      by: (values) => chanceOf(values, look.value, all, key.misread),
      apart: (values) => !values.includes(look.value),
    };
  };
  const ofMeasure = (key, at, look) => {
    const sizes = key.sizes[look.attribute];
    const sized = (records) =>
      new Map([...records].flatMap(([owner, k]) => {
        const own = k.values.map((v) => sizes[v]).filter(Boolean);
        const once = [...new Map(own.map((size) => [size.join(), size])).values()];
        return once.length ? [[owner, { ...k, values: once }]] : [];
      }));
    const density = ([rest, more]) =>
      Math.exp(Math.max((look.worn ? logWorn : logNormal)(look.mm, rest, Math.hypot(look.error, more)), -700));
    const mean = (values) => sum(values.map(density)) / values.length;
    const mm = [...sizes.filter(Boolean).map(([rest]) => rest), look.mm];
    const flat = 1 / Math.max(Math.max(...mm) - Math.min(...mm), 10 * look.error);
    const direct = [...sized(key.has).values()];
    const far = ([rest, more]) => {
      const slack = OUTLIER * Math.hypot(look.error, more);
      return look.mm < rest - slack || look.mm > (look.worn ? rest * (1 + GROWTH) : rest) + slack;
    };
    return {
      at: sized(at),
      share: (sum(direct.map((k) => mean(k.values))) + flat) / (direct.length + 1),
      by: (values) => (1 - key.misread) * mean(values) + key.misread * flat,
      apart: (values) => values.every(far),
    };
  };

  // The sum of weights, where keys of one group weigh no more than the strongest of them.
  const joined = (logs, looks) => {
    const groups = new Map();
    logs.forEach((weight, i) => {
      const key = looks[i].key;
      const group = data.keys[key].group ?? key;
      if (!groups.has(group)) groups.set(group, new Map());
      const at = `${key} ${looks[i].attribute ?? ""}`;
      groups.get(group).set(at, (groups.get(group).get(at) ?? 0) + weight);
    });
    return sum([...groups.values()].map((weights) => {
      const all = sum([...weights.values()]);
      return Math.sign(all) * Math.min(Math.abs(all), Math.max(...[...weights.values()].map(Math.abs)));
    }));
  };
  const fitOf = (misreads, apart) => {
    let exactly = [1];
    for (const e of misreads) {
      exactly = [...exactly, 0].map((p, i) => p * (1 - e) + (i ? exactly[i - 1] * e : 0));
    }
    return Math.min(1, sum(exactly.slice(apart)));
  };
  const meanLog = (logs) => {
    const top = Math.max(...logs);
    return top + Math.log(sum(logs.map((w) => Math.exp(w - top))) / logs.length);
  };

  // Every hypothesis with its probability, best first: a set, an unrecorded sister (set null), none of these.
  const identify = (looks) => {
    const fittings = looks.map(fitting);
    const weighed = new Map();
    for (const owner of [...data.members.values()].flat()) {
      const rows = fittings.map((f) => f.rows.get(owner));
      const ratios = rows.map((row, i) => (row ? row.chance / fittings[i].share : 1));
      const mixed = (often) => joined(ratios.map((r, i) => log((1 - often(i)) * r + often(i))), looks);
      const told = rows.flatMap((row, i) => (row ? [[fittings[i].key.misread, row.apart, fittings[i].key.alone]] : []));
      const fit = (those) => fitOf(those.map(([e]) => e), those.filter(([, apart]) => apart).length);
      weighed.set(owner, {
        recorded: joined(ratios.map(log), looks),
        sister: mixed((i) => fittings[i].key.apart),
        other: mixed(() => data.others),
        fit: fit(told),
        design: fit(told.filter(([, , alone]) => !alone)),
        known: told.length,
      });
    }
    const [recorded, unrecorded, none] = data.prior;
    const found = [];
    for (const [family, members] of data.members) {
      const all = members.map((owner) => weighed.get(owner));
      const before = log(recorded / data.members.size / members.length);
      members.forEach((set, i) => found.push({ set, family, log: all[i].recorded + before, fit: all[i].fit, unknown: looks.length - all[i].known }));
      const known = fittings.filter((f) => members.some((owner) => f.rows.has(owner))).length;
      const sister = meanLog(all.map((w) => w.sister)) + log(unrecorded / data.members.size);
      found.push({ set: null, family, log: sister, fit: Math.max(...all.map((w) => w.design)), unknown: looks.length - known });
    }
    found.push({ set: null, family: null, log: meanLog([...weighed.values()].map((w) => w.other)) + log(none), fit: 1, unknown: looks.length });
    const top = Math.max(...found.map((h) => h.log));
    const total = sum(found.map((h) => Math.exp(h.log - top)));
    const last = (x) => x ?? Infinity;
    const answers = found
      .map((h) => ({ ...h, probability: Math.exp(h.log - top) / total }))
      .sort((a, b) => b.log - a.log || last(a.family) - last(b.family) || last(a.set) - last(b.set));
    return { fittings, answers };
  };

  const byFamily = (answers) => {
    const chances = new Map();
    for (const h of answers) chances.set(h.family, (chances.get(h.family) ?? 0) + h.probability);
    return chances;
  };

  const entropy = (chances) => -sum(chances.filter((p) => p > 0).map((p) => p * Math.log2(p)));

  // The keys worth a look, best first, by how far the entropy over families is expected to fall.
  const next = (looks, answers) => {
    const [mostSets, mostKeys, leastKeys, mostRecords, mostValues] = data.budget;
    const families = byFamily(answers);
    const whole = new Map();
    for (const h of answers) if (h.set !== null) whole.set(h.family, (whole.get(h.family) ?? 0) + h.probability);
    const chances = answers.filter((h) => h.set !== null).map((h) => [h.set, whole.get(h.family) ? (families.get(h.family) * h.probability) / whole.get(h.family) : 0]);
    const top = chances.sort((a, b) => b[1] - a[1] || a[0] - b[0]).slice(0, mostSets);
    const left = new Set(top.filter(([, p]) => p >= LEAST_SHOWN).map(([owner]) => data.family(owner)));
    const wanted = new Set(top.map(([owner]) => data.family(owner)));
    const region = new Set([...wanted].flatMap((family) => data.members.get(family)));
    const todo = [...region];
    while (todo.length) {
      for (const link of data.near[todo.pop()]) {
        if (link.assembly === link.other && !region.has(link.other)) {
          region.add(link.other);
          todo.push(link.other);
        }
      }
    }
    const seen = new Set(looks.map((look) => look.key));
    const prior = new Map([["", families.get(null) ?? 0]]);
    for (const [owner, p] of top) prior.set(data.family(owner), (prior.get(data.family(owner)) ?? 0) + p);
    const total = sum([...prior.values()]) || 1;
    const room = Math.min(mostKeys, Math.max(leastKeys, Math.floor(mostRecords / data.sets.length)));
    const usual = data.keys
      .filter((key) => !seen.has(key.at) && !key["not asked"])
      .map((key) => {
        const own = [...key.has.keys()].filter((owner) => owner >= data.first).map(data.family);
        return [key, new Set(own.filter((family) => wanted.has(family))).size];
      })
      .filter(([, n]) => n)
      .sort((a, b) => b[1] - a[1] || a[0].at - b[0].at)
      .slice(0, room);
    const found = usual.flatMap(([key]) => {
      const at = spread(key, new Map([...key.has].filter(([owner]) => region.has(owner))), region);
      const all = known(key);
      const own = new Set(top.flatMap(([owner]) => at.get(owner)?.values ?? []));
      if (key.yes) all.forEach((v) => (typeof v === "string" || key.yes.includes(v)) && own.add(v));
      const values = [...own].sort((a, b) => (a === "no" ? -1 : b === "no" ? 1 : a === "yes" ? 1 : b === "yes" ? -1 : a - b)).slice(0, mostValues);
      if (all.has(UNWRITTEN) || !values.length) return [];
      const direct = [...key.has].filter(([owner]) => owner >= data.first).map(([, k]) => k.values);
      const rows = direct.length ? direct : top.flatMap(([owner]) => (at.has(owner) ? [at.get(owner).values] : []));
      const shares = values.map((value) => shareOf(rows, value, all));
      const table = new Map();
      const weight = new Map();
      for (const [owner, chance] of top) {
        const family = data.family(owner);
        const k = at.get(owner);
        const certain = k ? k.certainty * (1 - key.apart) : 0;
        const row = table.get(family) ?? values.map(() => 0);
        values.forEach((value, i) => {
          const by = k ? chanceOf(k.values, value, all, key.misread) : 0;
          row[i] += chance * (certain * by + (1 - certain) * shares[i]);
        });
        table.set(family, row);
        weight.set(family, (weight.get(family) ?? 0) + chance);
      }
      for (const [family, row] of table) {
        if (weight.get(family) > 0) table.set(family, row.map((c) => c / weight.get(family)));
        else table.delete(family);
      }
      table.set("", [...shares]);
      for (const row of table.values()) row.push(Math.max(0, 1 - sum(row)));
      const joint = [...table].map(([family, row]) => row.map((c) => ((prior.get(family) ?? 0) / total) * c));
      let after = 0;
      for (let i = 0; i <= values.length; i++) {
        const column = joint.map((row) => row[i]);
        const whole = sum(column);
        if (whole > 0) after += whole * entropy(column.map((p) => p / whole));
      }
      const bits = Math.max(0, entropy([...prior.values()].map((p) => p / total)) - after);
      return bits > 1e-9 ? [{ key: key.at, bits, values: values.slice() }] : [];
    });
    return found.sort((a, b) => b.bits - a.bits || a.key - b.key);
  };

  // From here on the page itself ---------------------------------------------------------------------

  const $ = (id) => document.getElementById(id);
  const made = (tag, text = "", attributes = {}) => {
    const element = document.createElement(tag);
    if (text) element.textContent = text;
    Object.entries(attributes).forEach(([name, value]) => element.setAttribute(name, value));
    return element;
  };
  const looks = [];

  const says = (look) => {
    const key = data.keys[look.key];
    if (look.mm !== undefined) return `${look.text}${look.worn ? " worn" : ""}`;
    return look.value === ANOTHER ? "none of the recorded values" : valueName(key, look.value);
  };
  const valueName = (key, value) => (typeof value === "string" ? value : key.values[value]);
  const lookName = (look) => {
    const key = data.keys[look.key];
    return look.attribute && key.place ? `${key.name} ${look.attribute}` : key.name;
  };

  const link = (owner) => {
    const a = made("a", "", { href: `sets/${data.pages[owner - data.first]}.html` });
    a.append(made("bdi", data.owners[owner]));
    return a;
  };

  const reason = (f, row, isSister) => {
    const key = f.key;
    const has = f.look.mm === undefined ? row.values.map((v) => valueName(key, v)) : row.values.map(([mm]) => `${+mm.toFixed(2)} mm`);
    const often = isSister ? key.apart : 0;
    const bits = Math.log2(((1 - often) * row.chance) / f.share + often);
    const by = row.certainty === 1 ? "" : `, by ${data.owners[row.source]} at ${row.certainty.toFixed(2)}`;
    const recorded = has.length === 1 && has[0] === says(f.look) ? "" : ` (recorded: ${has.join(", ")})`;
    return made("li", `${row.apart ? "against" : "for"}: ${lookName(f.look)} ${says(f.look)}${recorded}${by}, ${bits >= 0 ? "+" : ""}${bits.toFixed(2)} bits`);
  };

  const family = (of, chance, answers, fittings) => {
    const card = made("section", "", { class: "place" });
    const head = made("h3");
    head.append(made("b", chance.toFixed(4), { class: "sure" }), " ");
    if (of === null) {
      head.append("none of these");
      card.append(head);
      return card;
    }
    head.append("the family of ", made("bdi", data.owners[data.first + of]));
    card.append(head);
    const list = made("ul", "", { class: "facts" });
    answers.filter((h) => h.family === of).slice(0, 3).forEach((h, place) => {
      const row = made("li");
      row.append(made("b", h.probability.toFixed(4), { class: "sure" }), " ", h.set === null ? "a sister that is not recorded" : link(h.set));
      const doubt = h.fit < Number($("identify").dataset.doubtful) ? ", does not fit" : "";
      const unknown = h.unknown ? `; nothing is known of ${h.unknown} of ${looks.length}` : "";
      row.append(" ", made("small", `fit ${+h.fit.toPrecision(3)}${doubt}${unknown}`));
      const owner = h.set ?? answers.find((a) => a.family === of && a.set !== null).set;
      if (!place) {
        const told = fittings.map((f) => [f, f.rows.get(owner)]).filter(([, r]) => r);
        const why = made("ul", "", { class: "plain" });
        why.append(...told.sort(([f, a], [g, b]) => a.apart - b.apart || b.chance / g.share - a.chance / f.share).map(([f, r]) => reason(f, r, h.set === null)));
        row.append(why);
      }
      list.append(row);
    });
    card.append(list);
    return card;
  };

  const show = () => {
    $("seen").replaceChildren(...looks.map((look, i) => {
      const row = made("li");
      const button = made("button", "take away", { type: "button", "aria-label": `take away ${lookName(look)} ${says(look)}` });
      button.addEventListener("click", () => {
        looks.splice(i, 1);
        show();
        $("what").focus();
      });
      row.append(made("b", lookName(look)), " ", made("bdi", says(look)), " ", button);
      return row;
    }));
    const { fittings, answers } = identify(looks);
    const chances = [...byFamily(answers)].sort((a, b) => b[1] - a[1] || (a[0] ?? Infinity) - (b[0] ?? Infinity));
    $("answers").replaceChildren(...chances.slice(0, looks.length ? SHOWN : SHOWN_UNASKED).map(([of, chance]) => family(of, chance, answers, fittings)));
    const following = next(looks, answers).slice(0, SHOWN);
    $("next").replaceChildren(...following.map((n) => {
      const button = made("button", `${data.keys[n.key].name} (${n.bits.toFixed(2)} bits)`, { type: "button" });
      button.addEventListener("click", () => {
        $("what").value = String(n.key);
        offer();
        $("value").focus();
      });
      const row = made("li");
      row.append(button);
      return row;
    }));
    $("none").hidden = following.length > 0;
    const [best, chance] = chances[0];
    $("status").textContent = looks.length
      ? `${looks.length} seen. Likeliest: ${best === null ? "none of these" : `the family of ${data.owners[data.first + best]}`}, ${chance.toFixed(4)}.`
      : "Nothing seen yet; these are the chances before a look.";
  };

  // The values of the chosen key; a length is typed.
  const offer = () => {
    const key = data.keys[Number($("what").value)];
    const lengths = Object.keys(key.sizes ?? {});
    const options = lengths.map((name) => made("option", `a length: ${name || key.name}`, { value: `mm ${name}` }));
    if (key.place || !lengths.length) {
      options.unshift(...key.values.map((name, value) => made("option", name, { value: String(value) })));
      ["yes", "no"].forEach((word, i) => key.yes?.[i] < 0 && options.push(made("option", word, { value: word })));
      options.push(made("option", "none of these values", { value: String(ANOTHER) }));
    }
    $("value").replaceChildren(...options);
    measured();
  };
  const measured = () => {
    const length = $("value").value.startsWith("mm ");
    $("length").hidden = !length;
    $("size").required = length;
    $("worn").parentElement.hidden = $("value").value !== "mm inside length";
  };

  const add = (event) => {
    event.preventDefault();
    const key = Number($("what").value);
    const chosen = $("value").value;
    if (chosen.startsWith("mm ")) {
      const mm = Number($("size").value.replace(",", "."));
      if (!(mm >= 0.01 && mm <= 10000)) {
        $("status").textContent = "A length is a number from 0.01 to 10000, in mm.";
        return $("size").focus();
      }
      const attribute = chosen.slice(3);
      looks.push({ key, attribute, mm, error: 0.01 * mm, worn: attribute === "inside length" && $("worn").checked, text: `${mm} mm` });
    } else {
      const value = chosen === "yes" || chosen === "no" ? chosen : Number(chosen);
      if (looks.some((look) => look.key === key && look.value === value)) {
        $("status").textContent = "That was seen already.";
        return undefined;
      }
      looks.push({ key, value });
    }
    show();
    return $("what").focus();
  };

  window.recordedSets = (sent) => {
    data = opened(sent);
    // For tests and for whoever wants all of it: the same answers as JSON.
    window.whatIsThisSet = (given) => {
      const { answers } = identify(given);
      const text = (set) => (set === null ? null : data.owners[set]);
      return {
        answers: answers.map((h) => ({ set: text(h.set), family: h.family === null ? null : data.sets[h.family], probability: h.probability, fit: h.fit, unknown: h.unknown })),
        next: next(given, answers).map((n) => ({ key: data.keys[n.key].name, bits: n.bits })),
      };
    };
    $("what").replaceChildren(...data.keys.map((key, at) => made("option", key.name, { value: String(at) })));
    $("what").addEventListener("change", offer);
    $("value").addEventListener("change", measured);
    $("look").addEventListener("submit", add);
    $("identify").hidden = false;
    offer();
    show();
  };
})();
