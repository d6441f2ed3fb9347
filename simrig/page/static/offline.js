// The page without a server: counts differences against readings that were worked out beforehand.
"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const WORDS = { c: "closed", o: "open", e: "open or closed" };
  const BALL = { b: "ball here", n: "no ball", m: "ball or none" };
  const place = "simrig-" + data.machine;
  const at = (id) => document.getElementById(id);
  const fresh = () => ({ phase: data.home, balls: data.installed, seen: {}, fed: {}, back: [] });
  let state = fresh();

  // What was tapped is kept twice: in the browser's store, and in the address of this very page.
  const load = () => {
    const texts = [];
    try { texts.push(localStorage.getItem(place)); } catch { /* not allowed here */ }
    texts.push(decodeURIComponent(location.hash.slice(1)));
    for (const text of texts) {
      try {
        const found = JSON.parse(text);
        if (found && typeof found.seen === "object" && data.phases.some((one) => one.id === found.phase)) {
          state = { ...fresh(), ...found };
          for (const name of Object.keys(state.seen)) if (!data.sensors.some((one) => one.id === name)) delete state.seen[name];
          return;
        }
      } catch { /* nothing there yet */ }
    }
  };
  const keep = () => {
    const text = JSON.stringify(state);
    try { localStorage.setItem(place, text); } catch { /* not allowed here */ }
    try { history.replaceState(null, "", "#" + encodeURIComponent(JSON.stringify({ ...state, back: [] }))); } catch { /* not allowed here */ }
  };

  const circumstance = () => (data.expected[state.phase] || {})[state.balls];
  const letters = () => {
    const found = circumstance();
    return found ? found[0] : "";
  };
  const seenLetters = () => data.sensors.map((one) => ({ closed: "c", open: "o", flickers: "f" })[state.seen[one.id]] || "");
  const turn = { c: "o", o: "c" };

  const disagreements = (seen, text) => {
    let number = 0;
    for (let i = 0; i < seen.length; i++) {
      if (seen[i] === "f" || (seen[i] && text[i] !== "e" && seen[i] !== text[i])) number++;
    }
    return number;
  };
  const fewest = (seen, ways) => {
    let best = [Infinity, null];
    for (const way of ways) {
      const number = disagreements(seen, way[0]);
      if (number < best[0]) best = [number, way];
    }
    return best;
  };
  const readers = (seen) => {
    const found = [{ seen }];
    found.push({ seen: seen.map((one) => turn[one] || one), inverted: ["all"] });
    for (const [name, members] of Object.entries(data.boards)) {
      if (members.filter((i) => seen[i]).length > 1) {
        found.push({ seen: seen.map((one, i) => (members.includes(i) ? turn[one] || one : one)), inverted: [name] });
      }
    }
    for (const [name, pairs] of Object.entries(data.ends)) {
      const other = [...seen];
      for (const [one, two] of pairs) other[one] = seen[two];
      found.push({ seen: other, numbering: [name] });
    }
    return found;
  };
  const compare = () => {
    const seen = seenLetters();
    const home = data.worlds.find(([phase, balls]) => phase === state.phase && balls === state.balls);
    if (!home || !seen.some(Boolean)) return null;
    const [count, way] = fewest(seen, home[2]);
    const differences = [];
    seen.forEach((one, i) => {
      if (one === "f" || (one && way[0][i] !== "e" && one !== way[0][i])) differences.push({ sensor: i, expected: way[0][i], seen: one });
    });
    if (!count) return { agrees: true, differences, at: way[1], fits: [] };
    const kept = new Map();
    const ways = readers(seen);
    data.worlds.forEach(([phase, balls, worlds], order) => {
      const elsewhere = (phase !== state.phase) + (balls !== state.balls);
      let asRead = Infinity;
      ways.forEach((reader, number) => {
        const changes = elsewhere + (number ? 1 : 0);
        const [left] = fewest(reader.seen, worlds);
        if (!number) asRead = left; else if (left >= asRead) return;
        if (!changes || left >= count || (changes > 1 && left)) return;
        const fit = { phase, balls, differences: left, inverted: reader.inverted || [], numbering: reader.numbering || [] };
        const rank = [left, changes, Number(phase !== state.phase), Math.abs(balls - state.balls), number, order];
        const same = JSON.stringify([fit.inverted, fit.numbering, phase, balls]);
        if (!kept.has(same) || less(rank, kept.get(same)[0])) kept.set(same, [rank, fit]);
      });
    });
    const ranked = [...kept.values()].sort((a, b) => (less(a[0], b[0]) ? -1 : 1)).map((pair) => pair[1]);
    return { agrees: false, differences, fits: varied(ranked) };
  };
  const less = (one, other) => {
    for (let i = 0; i < one.length; i++) if (one[i] !== other[i]) return one[i] < other[i];
    return false;
  };
  const varied = (fits) => {
    const first = [], again = [], kinds = new Set();
    for (const fit of fits) {
      const kind = JSON.stringify([!!fit.inverted.length, fit.numbering, fit.phase !== state.phase, fit.balls !== state.balls]);
      (kinds.has(kind) ? again : first).push(fit);
      kinds.add(kind);
    }
    const chosen = new Set([...first, ...again].slice(0, 5));
    return fits.filter((fit) => chosen.has(fit));
  };
  const fitWords = (fit) => {
    const parts = [];
    if (fit.inverted[0] === "all") parts.push("you took all symbols the wrong way round");
    else if (fit.inverted.length) parts.push("you took the symbols of " + fit.inverted.join(", ") + " the wrong way round");
    for (const name of fit.numbering) parts.push("the positions of the " + name + " were counted from the wrong end");
    if (fit.phase !== state.phase) parts.push("the phase was " + data.phases.find((one) => one.id === fit.phase).title);
    if (fit.balls !== state.balls) parts.push((fit.balls === 1 ? "1 ball was" : fit.balls + " balls were") + " in it, not " + state.balls);
    return parts.join(" and ");
  };

  const make = (tag, properties, ...children) => {
    const made = document.createElement(tag);
    for (const [name, value] of Object.entries(properties || {})) {
      if (name.startsWith("data-") || name.startsWith("aria-") || name === "role") made.setAttribute(name, value);
      else made[name] = value;
    }
    made.append(...children.filter((one) => one !== null && one !== ""));
    return made;
  };
  const sensorBlock = (i, named) => {
    const sensor = data.sensors[i];
    const must = letters()[i];
    const words = must ? WORDS[must] : "not known";
    const seen = state.seen[sensor.id];
    const taps = ["closed", "open", "flickers"].map((reading) => make("button", {
      id: "t-" + sensor.id + "-" + reading, textContent: reading, "aria-pressed": String(seen === reading),
      onclick: () => change((next) => { if (next.seen[sensor.id] === reading) delete next.seen[sensor.id]; else next.seen[sensor.id] = reading; }),
    }));
    const differs = seen && (seen === "flickers" || (must && must !== "e" && WORDS[must] !== seen));
    return make("div", { className: "sensor" + (differs ? " differs" : ""), "data-expected": words, "data-sensor": sensor.id },
      make("p", { className: "must" }, named ? make("span", { className: "where", textContent: sensor.where + " " }) : "",
        make("span", { className: "named", textContent: sensor.named }),
        make("span", { className: "reads" }, "must read ", make("strong", { textContent: words }))),
      make("div", { className: "taps", role: "group", "aria-label": "what you see at " + sensor.where }, ...taps),
      make("p", { className: "off", textContent: "differs: it must read " + words }));
  };
  const drawSheet = () => {
    const found = circumstance();
    let spot = 0;
    const parts = data.places.map((one) => {
      const rows = one.seats.map((seat) => {
        const ball = found ? found[2][spot] : "m";
        spot++;
        const named = seat.sensors.length > 1 || seat.label === "top";
        const label = seat.label === "top" ? "on top, at the exit" : "position " + seat.label;
        return make("li", { className: "seat" },
          make("p", { className: "position" },
            make("span", { className: "ball " + (ball === "b" ? "there" : ball === "m" ? "perhaps" : "none"), textContent: seat.label, "aria-hidden": "true" }),
            make("span", {}, label + ": ", make("strong", { textContent: found ? BALL[ball] : "not known" }), seat.sensors.length ? "" : ". No sensor here.")),
          ...seat.sensors.map((i) => sensorBlock(i, named)));
      });
      return make("section", { className: "place" }, make("h2", { textContent: one.title }),
        one.near ? make("p", { className: "end" }, make("strong", { textContent: (one.near === "exit end" ? "↑ " : "") + one.near })) : "",
        make("ol", {}, ...rows), one.far ? make("p", { className: "end", textContent: one.far }) : "");
    });
    if (data.passing.length) {
      parts.push(make("section", { className: "place" }, make("h2", {}, "passed on the way ", make("small", { textContent: "no ball rests here" })),
        ...data.passing.map((i) => sensorBlock(i, true))));
    }
    at("sheet").replaceChildren(...parts);
  };
  const pick = (id, text, pressed, act) => make("button", { id, textContent: text, "aria-pressed": String(pressed), onclick: act });
  const drawAssumed = () => {
    const phase = data.phases.find((one) => one.id === state.phase);
    at("now").textContent = (phase ? phase.title : "no phase is stated yet") + ", " + (state.balls === data.installed ? "all " : "") + state.balls + (state.balls === 1 ? " ball" : " balls");
    at("note").textContent = phase ? phase.note : "";
    at("phases").replaceChildren(...data.phases.map((one) => pick("p-" + one.id, one.title, one.id === state.phase, () => change((next) => { next.phase = one.id; }))));
    const numbers = Array.from({ length: data.installed + 2 }, (_, i) => i);
    at("numbers").replaceChildren(...numbers.map((i) => pick("n-" + i, String(i), i === state.balls, () => change((next) => { next.balls = i; }))));
    at("problem").hidden = !!circumstance() || !data.phases.length;
    at("problem").textContent = "That many balls cannot be in the machine in this phase.";
  };
  const item = (tag, text) => make(tag, { textContent: text });
  const drawAnswer = () => {
    const found = compare();
    const parts = [];
    if (!found) {
      parts.push(item("p", circumstance() ? "Tap what you see at the sensors. One that you do not tap counts as not looked at." : "Nothing can be said while the phase and the number of balls do not fit."));
    } else if (found.agrees) {
      parts.push(make("p", { className: "verdict good" }, item("strong", "It agrees: " + found.at + ".")));
    } else {
      // One reading that differs says nothing of the symbols.
      const turned = found.differences.length > 1 && found.fits.find((fit) => fit.inverted.length);
      if (turned) {
        const whose = turned.inverted[0] === "all" ? " everywhere" : " at " + turned.inverted.join(", ");
        parts.push(make("p", { className: "loud" }, item("strong", "Your symbols may be the wrong way round"), whose + ". Block one beam by hand and look, before you believe any difference."));
      }
      const many = found.differences.length;
      parts.push(make("p", { className: "verdict" }, item("strong", "It differs at " + many + " sensor" + (many > 1 ? "s" : "") + ".")));
      const exact = found.fits.filter((fit) => !fit.differences);
      if (exact.length) {
        parts.push(item("p", "It would fit, with no difference left, if " + fitWords(exact[0]) + "."));
        for (const fit of exact.slice(1)) parts.push(item("p", "or if " + fitWords(fit) + "."));
        parts.push(item("p", "Check that first: it costs nothing. No part need be at fault."));
      } else {
        parts.push(item("p", "No other phase, count, numbering or way of reading the symbols explains it: a part, a wire, or a ball that hangs or was passing."));
      }
      const named = { c: "closed", o: "open", e: "open or closed", f: "flickers" };
      parts.push(make("ul", { className: "differences" }, ...found.differences.map((one) => make("li", {},
        item("strong", data.sensors[one.sensor].where), ": must read ", item("strong", named[one.expected]), ", you saw ", item("strong", named[one.seen])))));
      if (!exact.length && found.fits.length) {
        parts.push(item("p", "Fewer would differ if:"));
        parts.push(make("ul", {}, ...found.fits.slice(0, 3).map((fit) => item("li", fitWords(fit) + " (" + fit.differences + " left)"))));
      }
    }
    at("answer").replaceChildren(...parts);
    const off = document.querySelectorAll(".sensor.differs").length;
    at("count").textContent = Object.keys(state.seen).length + " of " + data.sensors.length + " looked at" + (off ? ", " + off + " differ" : "");
  };
  const drawSteps = () => {
    at("fed").textContent = Object.keys(state.fed).length + " of " + data.steps.length;
    at("steps").replaceChildren(...data.steps.map((step, i) => make("li", {}, step.caution ? make("p", { className: "caution", textContent: step.caution }) : "", make("p", {}, item("strong", step.do)), item("p", step.expect),
      make("div", { className: "taps two" }, ...[["as it must", true], ["not as it must", false]].map(([words, right]) =>
        pick("f-" + i + "-" + right, words, state.fed[i] === right, () => change((next) => { next.fed[i] = right; })))))));
  };
  const sheetText = () => {
    const pairs = Object.entries(state.seen).map(([name, seen]) => name + " = " + JSON.stringify(seen));
    const phase = state.phase ? "phase = " + JSON.stringify(state.phase) + "\n" : "";
    return "[[sheet]]\n" + phase + "balls = " + state.balls + "\nreadings = { " + pairs.join(", ") + " }\n";
  };
  const draw = () => {
    const focus = document.activeElement && document.activeElement.id;
    drawAssumed();
    drawSheet();
    drawAnswer();
    drawSteps();
    at("copy").value = sheetText();
    at("undo").disabled = !state.back.length;
    if (focus && at(focus)) at(focus).focus({ preventScroll: true });
  };
  const change = (act) => {
    const { back, ...before } = state;
    const next = JSON.parse(JSON.stringify(before));
    act(next);
    state = { ...next, back: [...back.slice(-49), JSON.stringify(before)] };
    keep();
    draw();
  };
  at("undo").onclick = () => {
    const back = [...state.back];
    const before = back.pop();
    if (before === undefined) return;
    state = { ...JSON.parse(before), back };
    keep();
    draw();
  };
  at("clear").onclick = () => change((next) => { next.seen = {}; next.fed = {}; });
  at("agree").onclick = () => change((next) => {
    data.sensors.forEach((one, i) => { const must = letters()[i]; if (!(one.id in next.seen) && "co".includes(must || "x")) next.seen[one.id] = WORDS[must]; });
  });
  at("copying").onclick = async () => {
    at("copy").select();
    try { await navigator.clipboard.writeText(at("copy").value); at("copying").textContent = "Copied"; } catch { at("copying").textContent = "Selected: copy it now"; }
  };
  at("polarity").textContent = data.polarity;
  load();
  draw();
})();
