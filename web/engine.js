// The engine off the page's thread. First comes the compiled module, then jobs, one after another; each is answered by its takeoff.
import { initSync, takeoff_of } from "/napline.js";

addEventListener("message", ({ data }) => {
  if (data instanceof WebAssembly.Module) initSync({ module: data });
  else postMessage(takeoff_of(data));
});
