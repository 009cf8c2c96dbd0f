/* Unlit: small helps for pages that work without them. No inline code, no dependencies. */
(() => {
  "use strict";

  const root = document.documentElement;
  const KEY = "unlit-theme";
  const recall = () => { try { return localStorage.getItem(KEY); } catch { return null; } };
  const keep = (theme) => { try { localStorage.setItem(KEY, theme); } catch { /* storage may be refused; the page still changes */ } };

  // Before the first paint, so that the page never flashes in the other theme.
  const kept = recall();
  if (kept === "light" || kept === "dark") root.dataset.theme = kept;

  const isDark = () => root.dataset.theme ? root.dataset.theme === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;

  function themeToggle() {
    for (const button of document.querySelectorAll("[data-theme-toggle]")) {
      const show = () => button.setAttribute("aria-pressed", String(isDark()));
      button.hidden = false;
      show();
      button.addEventListener("click", () => {
        root.dataset.theme = isDark() ? "light" : "dark";
        keep(root.dataset.theme);
        show();
      });
    }
  }

  function searchKey() {
    document.addEventListener("keydown", (event) => {
      if (event.key !== "/" || event.ctrlKey || event.metaKey || event.altKey) return;
      if (event.target.closest("input, textarea, select, [contenteditable]")) return;
      const search = document.querySelector("[data-search]");
      if (!search) return;
      event.preventDefault();
      search.focus();
      search.select();
    });
  }

  function menus() {
    document.addEventListener("keydown", (event) => {
      if (event.key !== "Escape") return;
      const open = document.querySelector("details[data-menu][open]");
      if (open) { open.open = false; open.querySelector("summary").focus(); }
    });
    document.addEventListener("click", (event) => {
      for (const menu of document.querySelectorAll("details[data-menu][open]")) {
        if (!menu.contains(event.target)) menu.open = false;
      }
    });
  }

  function guard() {
    const dirty = new Set();
    const touched = (event) => {
      const form = event.target.closest?.("form[data-guard]");
      if (form) dirty.add(form);
    };
    document.addEventListener("input", touched);
    document.addEventListener("unlit:rows", touched);
    document.addEventListener("submit", (event) => { if (!event.defaultPrevented) dirty.delete(event.target); });
    // A form that comes back from the server with errors, or with a row added, holds text that is not saved.
    for (const form of document.querySelectorAll("form[data-guard][data-unsaved]")) dirty.add(form);
    addEventListener("beforeunload", (event) => {
      if (![...dirty].some((form) => form.isConnected)) return;
      event.preventDefault();
      event.returnValue = "";
    });
  }

  /* Whoever logs out leaves nothing behind that they typed (see draft.js). */
  function drafts() {
    document.addEventListener("submit", (event) => {
      if (!event.target.action?.endsWith?.("/logout/")) return;
      try {
        sessionStorage.removeItem("unlit-draft-sent");
        for (const key of Object.keys(localStorage)) if (key.startsWith("unlit-draft:")) localStorage.removeItem(key);
      } catch { /* storage may be refused; then nothing was kept */ }
    });
  }

  function confirmations() {
    document.addEventListener("submit", (event) => {
      const question = event.submitter?.dataset.confirm || event.target.dataset.confirm;
      if (question && !window.confirm(question)) event.preventDefault();
    }, true);
  }

  /* Rows: <fieldset class="rows" data-rows="cables" data-next="2"> with <div data-row-list>, a submit button data-add-row
     and a <template data-row-template> whose attributes hold __n__ where the number of the row belongs. Blocks may nest:
     an inner template then names its own placeholder, data-placeholder="__m__". Without a template the button submits. */
  function rows() {
    document.addEventListener("click", (event) => {
      const button = event.target.closest?.("[data-add-row]");
      const block = button?.closest("[data-rows]");
      if (block && addRow(block, true)) event.preventDefault();
    });
  }

  function addRow(block, focus) {
    const own = (selector) => [...block.querySelectorAll(selector)].find((one) => one.closest("[data-rows]") === block);
    const template = own("template[data-row-template]");
    const list = own("[data-row-list]");
    if (!template || !list) return null;
    const number = Number(block.dataset.next ?? list.children.length);
    const piece = template.content.cloneNode(true);
    fillIn(piece, template.dataset.placeholder ?? "__n__", String(number));
    const row = piece.firstElementChild;
    // data-follows="area": the new row takes this value over from that column of the last row.
    for (const cell of row.querySelectorAll("[data-follows]")) {
      const before = list.lastElementChild?.querySelector(`[name$=".${cell.dataset.follows}"]`);
      if (before?.value) cell.value = before.value;
    }
    list.append(piece);
    block.dataset.next = number + 1;
    const count = own("[data-row-count]");
    if (count) count.value = number + 1;
    if (focus) row.querySelector("input:not([type=hidden]), select, textarea")?.focus();
    window.htmx?.process(row);
    row.dispatchEvent(new CustomEvent("unlit:rows", { bubbles: true }));
    return row;
  }

  function fillIn(piece, placeholder, number) {
    for (const element of piece.querySelectorAll("*")) {
      for (const attribute of element.attributes) {
        if (attribute.value.includes(placeholder)) attribute.value = attribute.value.replaceAll(placeholder, number);
      }
      if (element.tagName === "TEMPLATE") fillIn(element.content, placeholder, number);
    }
  }

  const CELLS = "input:not([type=hidden]):not([type=checkbox]), select";
  const cellsOf = (row) => [...row.querySelectorAll(CELLS)];

  /* In rows Enter goes down the column as in a spreadsheet, Shift+Enter up; below the last row begins a new one. */
  function enterDown() {
    document.addEventListener("keydown", (event) => {
      const cell = event.target;
      if (event.key !== "Enter" || event.defaultPrevented || event.isComposing || event.ctrlKey || event.metaKey || event.altKey) return;
      const list = cell.matches?.(CELLS) && cell.closest("[data-row-list]");
      const row = list && [...list.children].find((one) => one.contains(cell));
      if (!row) return;
      event.preventDefault();
      const column = cellsOf(row).indexOf(cell);
      let next = event.shiftKey ? row.previousElementSibling : row.nextElementSibling;
      const typed = cellsOf(row).some((one) => one.tagName !== "SELECT" && one.value.trim());
      if (!next && !event.shiftKey && typed) next = addRow(list.closest("[data-rows]"), false);
      if (!next) return;
      const target = cellsOf(next)[column];
      target?.focus();
      target?.select?.();
    });
  }

  /* A block copied from a spreadsheet fills the fields from the one it is pasted into, to the right and down. */
  function pasteBlock() {
    document.addEventListener("paste", (event) => {
      const start = event.target.closest?.("[data-row-list] input, [data-row-list] select");
      const text = event.clipboardData?.getData("text/plain") ?? "";
      if (!start || !/[\t\n]/.test(text.trimEnd())) return;
      event.preventDefault();
      const block = start.closest("[data-rows]");
      const list = start.closest("[data-row-list]");
      const cells = cellsOf;
      const lines = text.replace(/\r/g, "").trimEnd().split("\n").map((line) => line.split("\t"));
      const top = [...list.children].findIndex((row) => row.contains(start));
      const left = cells(list.children[top]).indexOf(start);
      lines.forEach((line, down) => {
        const row = list.children[top + down] ?? addRow(block, false);
        if (!row) return;
        const targets = cells(row);
        line.forEach((cell, right) => { if (targets[left + right]) fill(targets[left + right], cell.trim()); });
      });
    });
  }

  function fill(target, text) {
    if (target.tagName === "SELECT") {
      const wanted = text.toLowerCase();
      const option = [...target.options].find((one) => one.text.trim().toLowerCase() === wanted || one.value.toLowerCase() === wanted);
      if (option) target.value = option.value; else keepUnknown(target, text);
    } else {
      target.value = text;
    }
    target.dispatchEvent(new Event("input", { bubbles: true }));
    target.dispatchEvent(new Event("change", { bubbles: true }));
  }

  /* What is not among the choices stays visible as a choice of its own, which the server refuses, with a note beside
     the cell that goes when another choice is made. The words come from the page: data-not-offered of the rows. */
  function keepUnknown(target, text) {
    const words = target.closest("[data-not-offered]")?.dataset.notOffered;
    if (!words) return;
    target.add(new Option(text, text, false, true));
    const note = document.createElement("p");
    note.className = "field-errors";
    note.id = `${target.id}-unknown`;
    note.textContent = words.replace("{}", text);
    document.getElementById(note.id)?.remove();
    target.after(note);
    const described = target.getAttribute("aria-describedby") ?? "";
    target.setAttribute("aria-invalid", "true");
    if (!described.split(" ").includes(note.id)) target.setAttribute("aria-describedby", `${described} ${note.id}`.trim());
    target.addEventListener("change", function chosen() {
      if (target.value === text) return;
      target.removeEventListener("change", chosen);
      document.getElementById(note.id)?.remove();
      target.removeAttribute("aria-invalid");
      target.setAttribute("aria-describedby", (target.getAttribute("aria-describedby") ?? "").replace(note.id, "").trim());
    });
  }

  function errorSummary() {
    document.querySelector("[data-error-summary]")?.focus();
    document.addEventListener("click", (event) => {
      const link = event.target.closest?.("[data-error-summary] a[href^='#']");
      const field = link && document.getElementById(link.getAttribute("href").slice(1));
      if (!field) return;
      event.preventDefault();
      const folded = field.closest("details:not([open])");
      if (folded) folded.open = true;
      field.focus();
      field.scrollIntoView({ block: "center" });
    });
  }

  document.addEventListener("DOMContentLoaded", () => {
    for (const help of [themeToggle, searchKey, menus, confirmations, guard, drafts, rows, enterDown, pasteBlock, errorSummary]) help();
  });
})();
