// Starts the client. A start that fails says so in words and leaves everything stored on the phone as it was.
import init from "/napline.js";

const boot = document.getElementById("boot");

try {
  await init({ module_or_path: "/napline_bg.wasm" });
  boot.remove();
} catch (error) {
  boot.querySelector("p").textContent = `The tool did not start: ${error}. Nothing that you measured is lost; reload the page.`;
}

// A secure context only (https, or localhost): elsewhere the browser has no service worker, and the cache headers serve instead.
if ("serviceWorker" in navigator) {
  navigator.serviceWorker.register("/sw.js");
}
