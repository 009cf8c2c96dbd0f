/* Reads the code of an issued sheet with the camera where the browser can, and opens the page it names. Without it the
   phone's own camera, or the tag box, does the same. */
(() => {
  "use strict";

  const KIND = "qr_code";

  async function begin(button, view) {
    const told = view.querySelector("[data-scan-told]");
    const video = view.querySelector("video");
    const detector = new window.BarcodeDetector({ formats: [KIND] });
    let stream;
    try {
      stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
    } catch {
      view.hidden = false;
      video.hidden = true;
      told.textContent = button.dataset.refused;
      return;
    }
    video.srcObject = stream;
    view.hidden = false;
    button.hidden = true;
    await video.play();
    const stop = () => { for (const track of stream.getTracks()) track.stop(); };
    addEventListener("pagehide", stop, { once: true });
    const look = async () => {
      const found = await detector.detect(video).catch(() => []);
      const address = found.map((one) => sheetOf(one.rawValue)).find(Boolean);
      if (!address) {
        const text = found.length ? button.dataset.other : "";
        if (told.textContent !== text) told.textContent = text;
        setTimeout(look, 250);
        return;
      }
      stop();
      location.assign(address);
    };
    look();
  }

  /* Only the page of a sheet of this site is opened, whatever a code says. */
  function sheetOf(text) {
    const match = /\/s\/([a-z0-9]{6,20})\/?$/.exec(text);
    return match && `/s/${match[1]}/`;
  }

  /* Some browsers have the reader and yet know no codes. */
  async function canRead() {
    if (!("BarcodeDetector" in window) || !navigator.mediaDevices?.getUserMedia) return false;
    const kinds = await window.BarcodeDetector.getSupportedFormats().catch(() => []);
    return kinds.includes(KIND);
  }

  document.addEventListener("DOMContentLoaded", async () => {
    const button = document.querySelector("[data-scan]");
    const view = document.querySelector("[data-scan-view]");
    if (!button || !view || !(await canRead())) return;
    button.hidden = false;
    button.addEventListener("click", () => begin(button, view));
  });
})();
