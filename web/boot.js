// Starts the client. A start that fails, and a stop in the middle of work, are said in words; what is stored stays as it was.
import init from "/napline.js";

const boot = document.getElementById("boot");

try {
  const module = await WebAssembly.compileStreaming(fetch("/napline_bg.wasm"));
  // Called by the client: the page and its engine share one compiled module.
  globalThis.startEngine = () => {
    const engine = new Worker("/engine.js", { type: "module" });
    engine.postMessage(module);
    return engine;
  };
  await init({ module_or_path: module });
  boot.remove();
} catch (error) {
  boot.querySelector("p").textContent = `The tool did not start: ${error}. Nothing that you measured is lost; reload the page.`;
}

// A panic ends the module: nothing of it may run again on this page.
const stopped = (error) => {
  if (!(error instanceof WebAssembly.RuntimeError) || document.getElementById("stopped")) return;
  const back = document.createElement("div");
  back.className = "sheet-back";
  back.innerHTML = `<div class="sheet" id="stopped" role="alertdialog" aria-label="The tool stopped"><div class="sheet-body">
<p class="subtitle">The tool stopped. Everything you entered is stored on this phone.</p>
<button type="button" class="button button-main">Reload the page</button></div></div>`;
  back.querySelector("button").addEventListener("click", () => location.reload());
  document.body.append(back);
};
addEventListener("error", (event) => stopped(event.error));
addEventListener("unhandledrejection", (event) => stopped(event.reason));

// A secure context only (https, or localhost): elsewhere the browser has no service worker, and the cache headers serve instead.
if ("serviceWorker" in navigator) {
  navigator.serviceWorker.register("/sw.js");
}
// What was measured must not make room for something else. The browser decides; without its promise everything works the same.
navigator.storage?.persist?.().catch(() => {});
