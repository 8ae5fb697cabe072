"use strict";
// Which recorded belt is the one in the hand: the sum of `kgraph belt find`, over the list in belts.js beside
// this script. Nothing is asked of any server.
(() => {
  const here = document.currentScript.src;
  const form = document.getElementById("measured");
  if (!form) return;
  const MOST = 8;
  let scale = null;
  let belts = null;

  window.bookBelts = (given, rows) => {
    scale = given;
    belts = rows.map(([form, sizes, sectionError, length, lengthError, names, hrefs, sets, setHrefs, count]) => ({
      form, sizes, sectionError, length, lengthError, names, hrefs, sets, setHrefs, count,
    }));
  };

  // The error function and its complement --------------------------------------------------------------

  const ROOT_PI = Math.sqrt(Math.PI);

  // By the series of positive terms 2/sqrt(pi) exp(-x^2) sum 2^n x^(2n+1) / (2n+1)!! (DLMF 7.6.2).
  const erfSeries = (x) => {
    let term = x;
    let sum = x;
    for (let n = 1; term > sum * 1e-17; n++) {
      term *= (2 * x * x) / (2 * n + 1);
      sum += term;
    }
    return (2 / ROOT_PI) * Math.exp(-x * x) * sum;
  };

  const SMALL = 2.5;

  // The log of erfc(x), x >= 0; far out by its continued fraction (DLMF 7.9.1), from the last term back.
  const logErfc = (x) => {
    if (x < SMALL) return Math.log1p(-erfSeries(x));
    let below = x;
    for (let n = 200; n > 0; n--) below = x + n / 2 / below;
    return -x * x - Math.log(below * ROOT_PI);
  };

  const erf = (x) => {
    if (x < 0) return -erf(-x);
    return x < SMALL ? erfSeries(x) : -Math.expm1(logErfc(x));
  };

  // The densities, as in kgraph/belts/identify.py -------------------------------------------------------

  const logNormal = (value, mean, error) =>
    -0.5 * ((value - mean) / error) ** 2 - Math.log(error) - 0.5 * Math.log(2 * Math.PI);

  const logBetween = (low, high) => {
    let [lower, upper] = [low, high];
    if (lower + upper < 0) [lower, upper] = [-upper, -lower];
    if (lower <= 0) return Math.log(0.5 * (erf(upper / Math.SQRT2) - erf(lower / Math.SQRT2)));
    const near = logErfc(lower / Math.SQRT2);
    const far = logErfc(upper / Math.SQRT2);
    return Math.log(0.5) + near + Math.log(-Math.expm1(far - near));
  };

  const logWorn = (value, rest, error) => {
    const grown = scale.growth * rest;
    if (grown / error < 1e-6) return logNormal(value, rest + grown / 2, error);
    return logBetween((value - rest - grown) / error, (value - rest) / error) - Math.log(grown);
  };

  const logLikelihood = (seen, belt) => {
    const error = Math.hypot(seen.sectionError, belt.sectionError);
    const sizes = belt.sizes.reduce((sum, mean, i) => sum + logNormal(seen.sizes[i], mean, error), 0);
    const length = seen.worn ? logWorn : logNormal;
    return sizes + length(seen.length, belt.length, Math.hypot(seen.lengthError, belt.lengthError));
  };

  const logNone = (seen) =>
    -seen.sizes.length * Math.log(scale.sections[1] - scale.sections[0]) -
    Math.log(scale.lengths[1] - scale.lengths[0]);

  // The recorded belts of that form of section and none of these (belt null), the likeliest first.
  const candidates = (seen) => {
    const usable = belts.filter((belt) => belt.form === seen.form);
    const logs = [...usable.map((belt) => logLikelihood(seen, belt)), logNone(seen)];
    const top = Math.max(...logs);
    const weights = logs.map((value) => Math.exp(value - top));
    const total = weights.reduce((sum, weight) => sum + weight, 0);
    // The belts come in the order of their keys, which decides between equals; none of these comes last.
    const found = weights.map((weight, i) => ({ belt: usable[i] || null, probability: weight / total }));
    return found.sort((a, b) => b.probability - a.probability);
  };

  // The box -----------------------------------------------------------------------------------------------

  const field = (id) => document.getElementById(id);
  const told = field("measured-says");
  const list = field("measured-found");

  // A plain number as it is typed, with a point or a comma; null where there is none.
  const number = (id) => {
    const text = field(id).value.trim().replace(",", ".");
    return /^(\d+\.?\d*|\.\d+)$/.test(text) ? Number(text) : null;
  };

  const within = (value, [low, high]) => value >= low && value <= high;

  // What was measured, or what is wrong with it in words; "" while it is not yet whole.
  const measured = () => {
    const flat = field("form").value === "flat";
    const ids = ["size", ...(flat ? ["thick"] : []), "length"];
    if (ids.some((id) => !field(id).value.trim())) return "";
    const optional = ["section-error", "length-error"].filter((id) => field(id).value.trim());
    if ([...ids, ...optional].some((id) => number(id) === null)) return "Write plain numbers, like 1.25.";
    const sizes = ids.slice(0, -1).map(number).sort((a, b) => b - a);
    if (!sizes.every((size) => within(size, scale.sections))) {
      return `Each size of the section must be ${scale.sections[0]} to ${scale.sections[1]} mm.`;
    }
    const length = number("length") * Number(field("way").value);
    if (!within(length, scale.lengths)) {
      return `That is an inside length of ${length.toFixed(1)} mm; it must be ${scale.lengths[0]} to ${scale.lengths[1]} mm.`;
    }
    const sectionError = optional.includes("section-error") ? number("section-error") : scale.sectionError;
    const fraction = optional.includes("length-error") ? number("length-error") / 100 : scale.lengthError;
    if (!within(sectionError, [0.001, 5])) return "The error of the section must be 0.001 to 5 mm.";
    if (!within(fraction, [0, 1])) return "The error of the length must be 0 to 100 %.";
    if (!within(fraction * length, [0.001, 500])) return "The error of the length must come to 0.001 to 500 mm.";
    return {
      form: field("form").value, sizes, length, sectionError,
      lengthError: fraction * length, worn: field("worn").checked,
    };
  };

  const link = (name, href) => {
    const outer = document.createElement("bdi");
    const made = document.createElement("a");
    made.href = new URL(href, here).href;
    made.textContent = name;
    outer.append(made);
    return outer;
  };

  const links = (names, hrefs) => names.flatMap((name, i) => [...(i ? [", "] : []), link(name, hrefs[i])]);

  const row = ({ belt, probability }) => {
    const made = document.createElement("li");
    made.className = "answer";
    made.dataset.probability = String(probability);
    made.dataset.belt = belt ? belt.names[0] : "";
    const sure = document.createElement("span");
    sure.className = "sure";
    sure.textContent = `${(probability * 100).toFixed(1)} %`;
    made.append(...(belt ? links(belt.names, belt.hrefs) : ["none of these"]), " ", sure);
    if (belt && belt.sets.length) {
      const sets = document.createElement("p");
      const more = belt.count - belt.sets.length;
      sets.className = "note";
      sets.append("in ", ...links(belt.sets, belt.setHrefs), more ? ` and ${more} more` : "");
      made.append(sets);
    }
    return made;
  };

  const show = () => {
    const flat = field("form").value === "flat";
    field("thick-row").hidden = !flat;
    field("size-label").textContent = { square: "Side, mm", flat: "Width, mm", round: "Diameter, mm" }[field("form").value];
    const seen = measured();
    if (typeof seen === "string") {
      list.replaceChildren();
      told.textContent = seen;
      return;
    }
    const found = candidates(seen);
    list.replaceChildren(...found.slice(0, MOST).map(row));
    told.textContent = found.length === 1
      ? `No belt of ${seen.form} section is recorded.`
      : `Of ${found.length - 1} recorded ${seen.form} belts, the likeliest:`;
  };

  const script = document.createElement("script");
  script.src = new URL("belts.js", here).href;
  script.onload = () => { form.hidden = false; show(); form.addEventListener("input", show); };
  document.head.append(script);
})();
