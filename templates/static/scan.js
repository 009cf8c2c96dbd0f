/* Reads the code of an issued sheet with the camera where the browser can, and opens the page it names. Without it the
   phone's own camera, or the tag box, does the same. */
(() => {
  "use strict";

  async function begin(button, view) {
    const told = view.querySelector("[data-scan-told]");
    const video = view.querySelector("video");
    const detector = new window.BarcodeDetector({ formats: ["qr_code"] });
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
      if (!address) { setTimeout(look, 250); return; }
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

  document.addEventListener("DOMContentLoaded", () => {
    const button = document.querySelector("[data-scan]");
    const view = document.querySelector("[data-scan-view]");
    if (!button || !view || !("BarcodeDetector" in window) || !navigator.mediaDevices?.getUserMedia) return;
    button.hidden = false;
    button.addEventListener("click", () => begin(button, view));
  });
})();
