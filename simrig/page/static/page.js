// Sends each tap once and keeps it on the phone until the server has acknowledged it.
"use strict";
(() => {
  const job = document.getElementById("job");
  if (!job) return;
  const base = "/job/" + job.dataset.job;
  const boxName = "simrig-taps-" + job.dataset.job;
  const line = document.getElementById("line");
  let seq = Number(job.dataset.seq);
  let sending = false;
  let stale = false;
  let later = 0;

  const kept = () => {
    try { return JSON.parse(localStorage.getItem(boxName)) || []; } catch { return memory; }
  };
  let memory = [];
  const keep = (taps) => {
    memory = taps;
    try { localStorage.setItem(boxName, JSON.stringify(taps)); } catch { /* private mode */ }
  };
  const say = (words) => { line.hidden = !words; line.textContent = words; };
  const newKey = () => Array.from(crypto.getRandomValues(new Uint8Array(12)), (b) => b.toString(16).padStart(2, "0")).join("");

  const show = (button) => {
    const { sensor, reading } = button.dataset;
    if (!sensor) return;
    const block = button.closest(".sensor");
    const on = button.getAttribute("aria-pressed") !== "true";
    for (const other of block.querySelectorAll("button")) {
      const pressed = on && other === button;
      other.setAttribute("aria-pressed", pressed);
      other.value = JSON.stringify({ kind: "see", value: { [sensor]: pressed ? "unknown" : other.dataset.reading } });
    }
    const must = block.dataset.expected;
    block.classList.toggle("differs", on && (reading === "flickers" || (["open", "closed"].includes(must) && must !== reading)));
    count();
  };
  const count = () => {
    const all = document.querySelectorAll(".sensor").length;
    const seen = document.querySelectorAll('.sensor button[aria-pressed="true"]').length;
    const off = document.querySelectorAll(".sensor.differs").length;
    document.getElementById("count").textContent = seen + " of " + all + " looked at" + (off ? ", " + off + " differ" : "");
  };

  const tap = (button) => {
    const { kind, value } = JSON.parse(button.value);
    show(button);
    keep([...kept(), { key: newKey(), kind, value: value === undefined ? null : value }]);
    if (kind !== "see") stale = true;
    send();
  };

  const send = async () => {
    if (sending) return;
    const taps = kept();
    if (!taps.length) { refreshSoon(); return; }
    sending = true;
    try {
      const answer = await fetch(base + "/taps", {
        method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(taps),
      });
      if (answer.ok) {
        const sent = new Set(taps.map((one) => one.key));
        keep(kept().filter((one) => !sent.has(one.key)));
        const now = (await answer.json()).seq;
        if (now !== seq + taps.length) stale = true;
        seq = now;
        say("");
      } else if (answer.status >= 400 && answer.status < 500 && answer.status !== 401 && answer.status !== 408) {
        keep([]);
        stale = true;
        say(await answer.text());
      } else {
        say(answer.status === 401 ? await answer.text() : waiting());
      }
    } catch {
      say(waiting());
    }
    sending = false;
    if (!kept().length) refreshSoon(); else setTimeout(send, line.hidden ? 0 : 1500);
  };
  const waiting = () => "No connection. " + (kept().length === 1 ? "1 tap is" : kept().length + " taps are") + " kept on this phone and sent as soon as it is back.";

  const refreshSoon = () => {
    clearTimeout(later);
    later = setTimeout(refresh, stale ? 0 : 700);
  };
  const refresh = async () => {
    const whole = stale;
    stale = false;
    try {
      const answer = await fetch(base + "/part?what=" + (whole ? "all" : "answer"));
      if (!answer.ok) { if (answer.status === 410) location.reload(); return; }
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      if (kept().length) { stale = stale || whole; return; }
      const focus = document.activeElement && document.activeElement.id;
      const opened = [...document.querySelectorAll("details[open]")].map((one) => one.id).filter(Boolean);
      for (const name of whole ? ["sheet", "answer"] : ["answer"]) {
        const fresh = page.getElementById(name);
        const shown = name === "answer" && document.getElementById("log-answer");
        const steps = name === "answer" && document.getElementById("steps");
        if (fresh) document.getElementById(name).replaceChildren(...fresh.childNodes);
        // What was there stays until what is new has come, so that nothing jumps under the thumb.
        if (steps && document.getElementById("steps")) document.getElementById("steps").replaceChildren(...steps.childNodes);
        if (shown && document.getElementById("log-answer")) document.getElementById("log-answer").replaceWith(shown);
      }
      seq = Number(page.getElementById("seq").dataset.seq);
      for (const name of opened) { const one = document.getElementById(name); if (one) one.open = true; }
      wanted = focus || "";
      restore();
      count();
      parts();
      say("");
    } catch { stale = stale || whole; say(waiting()); setTimeout(refreshSoon, 1500); }
  };
  // Parts that take long, or are seldom wanted, are fetched once they are to be seen.
  const parts = () => {
    for (const place of document.querySelectorAll("[data-src]")) {
      const fold = place.closest("details");
      if ((!fold || fold.open) && !place.dataset.asked) { place.dataset.asked = "1"; part(place); }
    }
  };
  const part = async (place) => {
    try {
      const answer = await fetch(place.dataset.src);
      if (answer.status === 503) throw new Error("busy");
      if (answer.status !== 200) return;
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      if (place.isConnected) place.replaceChildren(...page.body.childNodes);
      restore();
    } catch { setTimeout(() => { delete place.dataset.asked; parts(); }, 2000); }
  };
  let wanted = "";
  const restore = () => {
    const one = wanted && document.activeElement === document.body && document.getElementById(wanted);
    if (one) one.focus({ preventScroll: true });
  };
  const look = async () => {
    if (document.hidden || sending || kept().length) return;
    try {
      const answer = await fetch(base + "/seq");
      if (answer.ok) {
        say("");
        if ((await answer.json()).seq !== seq) { stale = true; refreshSoon(); }
      } else if (answer.status === 410) { location.reload(); }
    } catch { say(waiting()); }
  };

  const judge = async (file) => {
    const place = document.getElementById("log-answer");
    if (!file || !place) return;
    place.textContent = "Reading " + file.name + " …";
    try {
      const answer = await fetch(base + "/log?name=" + encodeURIComponent(file.name), { method: "POST", body: file });
      if (!answer.ok) { place.textContent = await answer.text(); return; }
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      place.replaceChildren(...page.body.childNodes);
    } catch { place.textContent = "No connection. Choose the file again when it is back."; }
  };
  document.addEventListener("change", (event) => { if (event.target.id === "log-file") judge(event.target.files[0]); });
  document.addEventListener("dragover", (event) => event.preventDefault());
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    const place = document.getElementById("log");
    if (place && event.dataTransfer.files.length) { place.open = true; judge(event.dataTransfer.files[0]); place.scrollIntoView(); }
  });
  document.addEventListener("click", (event) => {
    const button = event.target.closest('button[name="do"]');
    if (!button) return;
    event.preventDefault();
    tap(button);
  });
  document.addEventListener("visibilitychange", () => { if (!document.hidden) { send(); look(); } });
  window.addEventListener("online", send);
  setInterval(look, 4000);
  setInterval(() => { if (kept().length) send(); }, 3000);
  document.addEventListener("toggle", parts, true);
  if (kept().length) { stale = true; send(); }
  parts();
  count();
  job.dataset.ready = "1";
})();
