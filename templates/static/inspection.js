/* Each line of <form data-inspect> is saved by itself a moment after it was touched. What cannot be sent, because the
   connection is gone, is kept in this browser and sent again later; photos wait in their field. Without this script the
   form saves as any other. */
(() => {
  "use strict";
  const form = document.querySelector("form[data-inspect]");
  if (!form || !window.fetch) return;
  const KEY = `unlit-draft:inspection-${form.dataset.inspect}-${form.dataset.person}`;
  const stored = () => { try { return JSON.parse(localStorage.getItem(KEY)) ?? {}; } catch { return {}; } };
  const keep = (waiting) => {
    try { Object.keys(waiting).length ? localStorage.setItem(KEY, JSON.stringify(waiting)) : localStorage.removeItem(KEY); } catch { /* storage may be refused */ }
  };
  const lines = [...form.querySelectorAll("[data-line]")];
  const timers = new Map();
  const busy = new Set();
  const again = new Set();
  const dirty = new Set();

  function fieldsOf(line) {
    const found = {};
    for (const field of line.querySelectorAll("input, select, textarea")) {
      if (field.type === "file" || (field.type === "radio" && !field.checked)) continue;
      if (field.name) found[field.name] = field.value;
    }
    return found;
  }

  function say(line, text) { line.querySelector("[data-status]").textContent = text; }

  async function send(line) {
    if (busy.has(line)) { again.add(line); return; }
    busy.add(line);
    const fields = fieldsOf(line);
    const body = new FormData();
    body.append("csrfmiddlewaretoken", form.elements.csrfmiddlewaretoken.value);
    for (const [name, value] of Object.entries(fields)) body.append(name, value);
    const photo = line.querySelector("input[type=file]");
    const file = photo.files[0];
    if (file) body.append(photo.name, file);
    say(line, form.dataset.sending);
    try {
      const answer = await fetch(line.dataset.line, { method: "POST", body, headers: { Accept: "application/json" }, redirect: "error" });
      const told = await answer.json();
      const waiting = stored();
      delete waiting[line.id];
      keep(waiting);
      if (answer.ok) {
        line.querySelector("[data-opened]").value = told.mark;
        line.querySelector("[data-outcome]").innerHTML = told.outcome;
        line.querySelector(":scope > .field-errors")?.remove();
        if (file && photo.files[0] === file) photo.value = "";
        for (const place of document.querySelectorAll("[data-progress]")) place.textContent = place.textContent.replace(/^\d+/, told.done);
        if (!again.has(line)) dirty.delete(line);
        say(line, form.dataset.saved);
      } else {
        say(line, told.faults.join(" "));
      }
    } catch {
      const waiting = stored();
      waiting[line.id] = fields;
      keep(waiting);
      say(line, form.dataset.waiting);
    } finally {
      busy.delete(line);
      if (again.delete(line)) send(line);
    }
  }

  function soon(line, delay) {
    clearTimeout(timers.get(line));
    timers.set(line, setTimeout(() => send(line), delay));
  }

  form.addEventListener("input", (event) => {
    const line = event.target.closest?.("[data-line]");
    if (line) dirty.add(line);
  });
  form.addEventListener("submit", () => dirty.clear());
  addEventListener("beforeunload", (event) => { if (dirty.size) event.preventDefault(); });

  form.addEventListener("change", (event) => {
    const line = event.target.closest?.("[data-line]");
    if (!line) return;
    const chosen = line.querySelector("input[type=radio]:checked");
    // A defect is sent once it says what is wrong: until then it cannot be kept.
    const wanting = chosen && ["defect", "not_checked"].includes(chosen.value) && !line.querySelector("textarea").value.trim();
    const unranked = chosen?.value === "defect" && !line.querySelector("select").value;
    if (chosen && !wanting && !unranked) soon(line, 400);
  });

  // Names of the register to pick from, as one types.
  let typing;
  form.addEventListener("input", (event) => {
    const field = event.target;
    if (!field.dataset.pick) return;
    clearTimeout(typing);
    typing = setTimeout(async () => {
      try {
        const answer = await fetch(`${field.dataset.pick}?q=${encodeURIComponent(field.value)}`);
        if (answer.ok) field.list.innerHTML = await answer.text();
      } catch { /* without a connection there is nothing to pick from */ }
    }, 300);
  });

  // What was not sent yet stands in the form again, and goes out with the connection.
  const waiting = stored();
  for (const line of lines) {
    const fields = waiting[line.id];
    if (!fields) continue;
    for (const [name, value] of Object.entries(fields)) {
      for (const field of line.querySelectorAll(`[name="${CSS.escape(name)}"]`)) {
        if (field.type === "radio") field.checked = field.value === value; else field.value = value;
      }
    }
    say(line, form.dataset.waiting);
  }
  const flush = () => { const left = stored(); for (const line of lines) if (left[line.id]) send(line); };
  addEventListener("online", flush);
  setInterval(flush, 20000);
  flush();
})();
