/* Start: the page first, then the picture, as far as this browser can draw it. */

/** Printed: everything unfolded, and the picture at a size that fits the paper. */
Nose.wirePrinting = function (stage) {
  let folded = [];
  window.addEventListener("beforeprint", () => {
    folded = Nose.all("details:not([open])");
    folded.forEach((one) => { one.open = true; });
    document.documentElement.classList.add("on-paper");
    if (stage) {
      stage.overlay.measureAgain();
      stage.draw();
    }
  });
  window.addEventListener("afterprint", () => {
    folded.forEach((one) => { one.open = false; });
    document.documentElement.classList.remove("on-paper");
    if (stage) stage.wake();
  });
};

Nose.start = function () {
  Nose.wireFilters();
  Nose.wireDrawings();
  const follow = () => {
    const aim = location.hash.length > 1 && Nose.byId(decodeURIComponent(location.hash.slice(1)));
    if (!aim) return;
    Nose.reveal(aim);
    aim.scrollIntoView();
  };
  window.addEventListener("hashchange", follow);
  let stage = null;
  const canvas = Nose.byId("canvas");
  const wanted = { antialias: true, stencil: true, alpha: false, preserveDrawingBuffer: true };
  const gl = typeof THREE === "object" && canvas
    && (canvas.getContext("webgl2", wanted) || canvas.getContext("webgl", wanted));
  if (gl) {
    const data = JSON.parse(Nose.byId("nose-data").textContent);
    Nose.byId("viewer").hidden = false;
    Nose.byId("no-view").hidden = true;
    stage = new Nose.Stage(data, canvas, gl);
    Nose.wireView(stage);
    Nose.say("Choose “Show in 3-D” at an answer to go to its place.");
    canvas.addEventListener("webglcontextlost", (event) => {
      event.preventDefault();
      Nose.say("The browser has taken the picture's memory away. Load the page again to see it.");
    });
  }
  Nose.wirePrinting(stage);
  follow();
};

Nose.start();
