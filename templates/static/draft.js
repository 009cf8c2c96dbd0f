/* What is typed into <form data-draft="name of the person"> is kept in this browser until it is saved, so that a crash
   loses nothing. It is offered to the same person only, for a week, in <div data-draft-offer hidden> with a place for the
   time [data-draft-time] and the buttons [data-draft-back] and [data-draft-away]. On a page of an error, <body
   data-draft-refused>, what was sent last becomes a draft again. */
(() => {
  "use strict";
  const SENT = "unlit-draft-sent";
  try {
    const sent = JSON.parse(sessionStorage.getItem(SENT));
    sessionStorage.removeItem(SENT);
    if (sent && document.body.hasAttribute("data-draft-refused")) localStorage.setItem(sent.key, JSON.stringify(sent.draft));
  } catch { /* storage may be refused */ }

  const WEEK = 7 * 24 * 3600 * 1000;
  const form = document.querySelector("form[data-draft]");
  const offer = document.querySelector("[data-draft-offer]");
  if (!form || !offer) return;
  const key = `unlit-draft:${form.getAttribute("action") || location.pathname}`;
  const stored = () => { try { return JSON.parse(localStorage.getItem(key)); } catch { return null; } };
  const forget = () => { try { localStorage.removeItem(key); } catch { /* nothing was kept then */ } };
  const fields = () => [...new FormData(form)].filter(([name, value]) => name !== "csrfmiddlewaretoken" && typeof value === "string");

  const draftNow = () => ({ who: form.dataset.draft, at: Date.now(), fields: fields() });

  function keep() {
    try { localStorage.setItem(key, JSON.stringify(draftNow())); } catch { /* storage may be refused or full */ }
  }

  function send() {
    forget();
    try { sessionStorage.setItem(SENT, JSON.stringify({ key, draft: draftNow() })); } catch { /* as above */ }
  }

  let timer;
  const soon = () => { clearTimeout(timer); timer = setTimeout(keep, 500); };
  form.addEventListener("input", soon);
  form.addEventListener("unlit:rows", soon);
  form.addEventListener("submit", (event) => {
    clearTimeout(timer);
    // A save clears the draft; if it is refused, the page that comes back holds everything and keeps it again.
    if (event.submitter?.name) keep(); else send();
  });

  const draft = stored();
  if (draft && (draft.who !== form.dataset.draft || Date.now() - draft.at > WEEK)) forget();
  else if (form.hasAttribute("data-unsaved")) keep();
  else if (draft && JSON.stringify(draft.fields) !== JSON.stringify(fields())) show(draft);
  else forget();

  function show(draft) {
    offer.querySelector("[data-draft-time]").textContent = new Date(draft.at).toLocaleString(document.documentElement.lang);
    offer.hidden = false;
    offer.querySelector("[data-draft-away]").addEventListener("click", () => { forget(); offer.hidden = true; form.querySelector("input:not([type=hidden])")?.focus(); });
    offer.querySelector("[data-draft-back]").addEventListener("click", () => {
      const back = document.createElement("form");
      back.method = "post";
      back.action = form.action;
      back.hidden = true;
      const token = ["csrfmiddlewaretoken", form.elements.csrfmiddlewaretoken.value];
      for (const [name, value] of [token, ...draft.fields, ["_preview", "1"]]) {
        const field = document.createElement("textarea");
        field.name = name;
        field.value = value;
        back.append(field);
      }
      document.body.append(back);
      back.submit();
    });
  }
})();
