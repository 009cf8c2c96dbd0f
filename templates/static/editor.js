/* The editor of a loop: a field with data-pick="address" searches the register while one types and shows what it finds
   with the values that decide, as a combobox with a list box (ARIA 1.2). Without this script the field has a datalist. */
(() => {
  "use strict";
  const form = document.getElementById("loop-form");
  const status = document.getElementById("preview-status");
  if (!form) return;

  const list = document.createElement("ul");
  list.className = "pick-list";
  list.id = "pick-list";
  list.setAttribute("role", "listbox");
  list.hidden = true;
  let field = null;
  let active = -1;
  let timer = 0;
  let asked = 0;
  const typed = new WeakSet();

  const options = () => [...list.querySelectorAll("[data-value]")];

  function prepare(input) {
    if (input.getAttribute("role") === "combobox") return;
    input.removeAttribute("list");
    for (const [name, value] of [["role", "combobox"], ["aria-autocomplete", "list"], ["aria-expanded", "false"], ["aria-haspopup", "listbox"]]) input.setAttribute(name, value);
  }

  function close() {
    clearTimeout(timer);
    asked += 1;
    list.hidden = true;
    active = -1;
    field?.setAttribute("aria-expanded", "false");
    field?.removeAttribute("aria-activedescendant");
    field?.removeAttribute("aria-controls");
  }

  function activate(index) {
    const all = options();
    if (!all.length) return;
    active = (index + all.length) % all.length;
    all.forEach((option, number) => option.setAttribute("aria-selected", String(number === active)));
    field.setAttribute("aria-activedescendant", all[active].id);
    all[active].scrollIntoView({ block: "nearest" });
  }

  async function ask(input, text) {
    const mine = asked += 1;
    let answer;
    try { answer = await fetch(`${input.dataset.pick}?q=${encodeURIComponent(text)}`, { headers: { "HX-Request": "true" } }); } catch { return; }
    if (!answer.ok || answer.redirected) return;
    const found = await answer.text();
    if (mine !== asked || document.activeElement !== input) return;
    field = input;
    // The server escapes every name; what it sends is markup of this site.
    list.innerHTML = found;
    list.setAttribute("aria-label", input.labels?.[0]?.textContent ?? "");
    (input.closest("td") ?? input.parentElement).append(list);
    list.hidden = false;
    active = -1;
    input.setAttribute("aria-controls", list.id);
    input.setAttribute("aria-expanded", "true");
    input.removeAttribute("aria-activedescendant");
    place(input);
    // Where the field stands low on the screen the list would open below its edge.
    list.scrollIntoView({ block: "nearest" });
    if (status) status.textContent = list.textContent.trim() && !options().length ? list.textContent : `${options().length}`;
  }

  /* Below the field; from its left edge where there is room, else up to its right edge. */
  function place(input) {
    list.style.top = `${input.offsetTop + input.offsetHeight + 2}px`;
    list.classList.toggle("pick-left", input.getBoundingClientRect().left + list.offsetWidth > document.documentElement.clientWidth);
  }

  function take(option) {
    const input = field;
    input.value = option.dataset.value;
    // The register knows what is an inline item; whoever sees it otherwise chooses so afterwards.
    const kind = option.dataset.role && input.closest("tr")?.querySelector('select[name$=".role"]');
    if (kind) kind.value = option.dataset.role;
    close();
    input.dispatchEvent(new Event("input", { bubbles: true }));
    typed.delete(input);
    input.dispatchEvent(new Event("change", { bubbles: true }));
    tell(input, option.dataset.facts);
  }

  function tell(input, facts) {
    const place = document.getElementById(`${input.id}-facts`);
    if (place) place.textContent = facts;
  }

  form.addEventListener("focusin", (event) => { if (event.target.matches("[data-pick]")) prepare(event.target); });
  form.addEventListener("click", (event) => {
    const option = event.target.closest(".pick-list [data-value]");
    if (option) take(option);
    else if (event.target.matches("[data-pick]") && list.hidden) ask(event.target, "");
  });
  // A press on the list must not take the focus from the field.
  list.addEventListener("pointerdown", (event) => event.preventDefault());
  form.addEventListener("input", (event) => {
    const input = event.target;
    if (!input.matches("[data-pick]")) return;
    tell(input, "");
    // What is offered answers an earlier text: nobody may take it for this one.
    close();
    typed.add(input);
    if (event.isTrusted) timer = setTimeout(() => ask(input, input.value), 150);
  });
  form.addEventListener("focusout", (event) => { if (event.target === field) close(); else clearTimeout(timer); });
  form.addEventListener("keydown", (event) => {
    const input = event.target;
    if (!input.matches("[data-pick]") || event.isComposing) return;
    const open = !list.hidden && field === input;
    if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      event.preventDefault();
      if (open) activate(active + (event.key === "ArrowDown" ? 1 : active < 0 ? 0 : -1)); else ask(input, typed.has(input) ? input.value : "");
    } else if (event.key === "Escape" && open) {
      event.preventDefault();
      close();
    } else if (open && active >= 0 && (event.key === "Enter" || event.key === "Tab")) {
      if (event.key === "Enter") event.preventDefault();
      take(options()[active]);
    } else if (open && options().length === 1 && input.value.trim() && (event.key === "Enter" || event.key === "Tab")) {
      // One find alone is meant.
      if (event.key === "Enter") event.preventDefault();
      take(options()[0]);
    }
  });
})();
