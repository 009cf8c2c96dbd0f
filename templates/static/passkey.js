/* Passkeys: asks the browser for one and sends its answer with the form. Without this script the forms stay hidden or say so. */
(() => {
  "use strict";

  const told = (form) => form.querySelector("[data-passkey-fault]");

  async function options(form) {
    if (form.dataset.passkeyOptions) return JSON.parse(document.getElementById(form.dataset.passkeyOptions).textContent);
    const answer = await fetch(form.action, { headers: { Accept: "application/json" } });
    if (!answer.ok) throw new Error("no options");
    return answer.json();
  }

  async function made(form) {
    const asked = await options(form);
    if (form.dataset.passkey !== "add") return webauthnJSON.get(asked.request_options);
    const alone = Boolean(form.elements.passwordless && form.elements.passwordless.checked);
    const wanted = asked.creation_options.publicKey.authenticatorSelection;
    wanted.residentKey = alone ? "required" : "discouraged";
    wanted.requireResidentKey = alone;
    if (alone) wanted.userVerification = "required";
    return webauthnJSON.create(asked.creation_options);
  }

  function prepare(form) {
    if (!window.PublicKeyCredential || !window.webauthnJSON) return;
    form.hidden = false;
    // A form that also takes a password has a button of its own for the passkey; else the form is there for it alone.
    const press = form.querySelector("[data-passkey-press]");
    if (press) press.hidden = false;
    (press || form).addEventListener(press ? "click" : "submit", async (event) => {
      event.preventDefault();
      const fault = told(form);
      if (fault) fault.hidden = true;
      try {
        form.elements.credential.value = JSON.stringify(await made(form));
      } catch {
        if (fault) fault.hidden = false;
        return;
      }
      form.submit();
    });
  }

  document.addEventListener("DOMContentLoaded", () => document.querySelectorAll("form[data-passkey]").forEach(prepare));
})();
