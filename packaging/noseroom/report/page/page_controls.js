/* The controls beside the picture, and the buttons on the answers. */

/** Every control of the 3-D view. */
Nose.wireView = function (stage) {
  const { data } = stage;
  let from = null;
  const ticks = Nose.all("input[data-part]");
  const sync = () => ticks.forEach((tick) => {
    tick.checked = stage.parts[tick.dataset.part].group.visible;
  });
  const spoken = (finding) =>
    (finding.number ? "Tight spot " + finding.number + ": " : "") + finding.names + ". "
    + finding.word + (finding.at ? ", " + finding.figure : "") + ".";

  const choose = (finding, button) => {
    const changes = stage.choose(finding);
    sync();
    readCuts();
    readApart();
    from = button;
    Nose.all("button.show").forEach((one) => {
      one.classList.toggle("on", one.dataset.finding === finding.id);
    });
    Nose.byId("back").hidden = Nose.byId("unmark").hidden = false;
    Nose.say(["Shown: " + spoken(finding), ...changes.map((text) => text + ".")].join(" "));
  };
  stage.chosenInPicture = (finding) =>
    choose(finding, document.querySelector(`button.show[data-finding="${finding.id}"]`));

  Nose.all("button.show").forEach((button) => {
    button.hidden = false;
    button.addEventListener("click", () => {
      choose(data.findings.find((one) => one.id === button.dataset.finding), button);
      const box = stage.box.getBoundingClientRect();
      const inSight = box.top >= 0 && box.bottom <= window.innerHeight;
      if (!inSight) stage.box.scrollIntoView({ block: "start" });
      stage.box.focus({ preventScroll: true });
    });
  });
  Nose.byId("back").addEventListener("click", () => {
    const card = from && from.closest("article");
    if (!card) return;
    Nose.reveal(card);
    card.scrollIntoView({ block: "center" });
    from.focus({ preventScroll: true });
  });
  const unmark = () => {
    stage.unmark();
    Nose.all("button.show.on").forEach((one) => one.classList.remove("on"));
    Nose.byId("unmark").hidden = true;
    Nose.say("All parts are drawn alike.");
  };
  Nose.byId("unmark").addEventListener("click", unmark);
  stage.box.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && stage.chosen) unmark();
  });

  const whole = () => {
    stage.whole();
    Nose.say("The whole of what is shown.");
  };
  Nose.byId("whole").addEventListener("click", whole);
  Nose.byId("nearer").addEventListener("click", () => stage.eye.near(0.8));
  Nose.byId("farther").addEventListener("click", () => stage.eye.near(1.25));
  Nose.all("button[data-view]").forEach((button) => button.addEventListener("click", () => {
    stage.whole(button.dataset.view);
    Nose.say(button.textContent + ".");
  }));
  Nose.listenToHands(stage.box, stage.eye, (x, y) => {
    const part = stage.partAt(x, y);
    if (part) Nose.say("That is the " + part.name + ".");
  });
  Nose.listenToKeys(stage.box, stage.eye, whole);

  ticks.forEach((tick) => tick.addEventListener("change", () => {
    const part = stage.parts[tick.dataset.part];
    stage.show(part, tick.checked);
    Nose.say(part.name + (tick.checked ? " is shown." : " is hidden."));
  }));
  Nose.all("button[data-all]").forEach((button) => button.addEventListener("click", () => {
    const group = button.closest("fieldset"), on = button.dataset.all === "on";
    Nose.all("input[data-part]", group).forEach((tick) => stage.show(stage.parts[tick.dataset.part], on));
    sync();
    Nose.say(group.querySelector("legend").textContent + (on ? ": all shown." : ": all hidden."));
  }));

  const readCuts = Nose.wireCuts(stage);
  const readApart = Nose.wireLook(stage);
  sync();
};

/** The three cutting planes. Returns what brings their read-outs up to date. */
Nose.wireCuts = function (stage) {
  const rows = ["x", "y", "z"].map((axis) => {
    const [on, flip, slide, read] = ["cut", "flip", "slide", "read"]
      .map((what) => document.querySelector(`[data-${what}="${axis}"]`));
    const low = Math.floor(stage.bounds.min[axis]), high = Math.ceil(stage.bounds.max[axis]);
    Object.assign(slide, { min: low, max: high, value: Math.round((low + high) / 2) });
    const apply = (change) => {
      stage.cuts.set(axis, { at: Number(slide.value), on: on.checked, flipped: flip.checked, ...change });
      update();
      stage.wake();
    };
    const update = () => {
      const where = Nose.whereabouts(axis, Number(slide.value), stage.data.unit);
      on.checked = stage.cuts.cuts[axis].on;
      read.textContent = on.checked ? where : "off; at " + where;
      slide.setAttribute("aria-valuetext", read.textContent);
    };
    slide.addEventListener("input", () => {
      on.checked = true;
      apply({ on: true });
    });
    on.addEventListener("change", () => {
      apply({});
      Nose.say(on.checked ? "Cut open at " + read.textContent + "." : "That cut is off.");
    });
    flip.addEventListener("change", () => apply({}));
    apply({});
    return update;
  });
  return () => rows.forEach((update) => update());
};

/** Taken apart, ghosts, fading, labels. Returns what brings the first up to date. */
Nose.wireLook = function (stage) {
  const apart = Nose.byId("apart"), ghosts = Nose.byId("ghosts");
  const read = () => {
    apart.value = String(Math.round(100 * stage.apart));
    Nose.byId("apart-said").textContent = stage.apart ? apart.value + " %" : "together";
  };
  apart.addEventListener("input", () => {
    stage.apart = Number(apart.value) / 100;
    stage.dress();
    read();
  });
  apart.addEventListener("change", () => stage.whole());
  ghosts.addEventListener("input", () => {
    stage.ghosts = Number(ghosts.value) / 100;
    Nose.byId("ghosts-said").textContent = ghosts.value + " %";
    stage.dress();
  });
  Nose.byId("fade").addEventListener("change", (event) => {
    stage.fade = event.target.checked;
    stage.dress();
  });
  Nose.byId("rooms").addEventListener("change", (event) => {
    stage.rooms = event.target.checked;
    stage.dress();
  });
  Nose.byId("outer").addEventListener("change", (event) => {
    stage.outer = event.target.checked;
    stage.dress();
  });
  Nose.byId("labels").addEventListener("change", (event) => {
    stage.labelled = event.target.checked;
    stage.wake();
  });
  return read;
};

/** Open what a card or a row is folded into, so that it can be gone to. */
Nose.reveal = function (element) {
  for (let up = element.parentElement; up; up = up.parentElement) {
    if (up.tagName === "DETAILS") up.open = true;
  }
  element.hidden = false;
};

/** The filters over the answers. */
Nose.wireFilters = function () {
  const form = Nose.byId("filters");
  if (!form) return;
  const cards = Nose.all("article.card"), fitting = Nose.byId("fitting");
  form.hidden = false;
  form.addEventListener("submit", (event) => event.preventDefault());
  form.addEventListener("change", () => {
    const kind = Nose.byId("by-verdict").value, part = Nose.byId("by-part").value;
    let shown = 0;
    for (const card of cards) {
      const parts = card.dataset.parts.split("\u241f");
      card.hidden = Boolean((kind && card.dataset.verdict !== kind) || (part && !parts.includes(part)));
      shown += !card.hidden;
    }
    if (fitting && (kind === "fits" || part)) fitting.open = true;
    Nose.byId("filter-said").textContent = kind || part
      ? shown + " of " + cards.length + " answers shown." : "All answers shown.";
  });
};

/** The drawings' frames: larger, smaller, alone, and looking through parts. */
Nose.wireDrawings = function () {
  for (const figure of Nose.all("figure.drawing")) {
    const sheet = figure.querySelector("svg"), natural = sheet.viewBox.baseVal.width * 96 / 25.4;
    let scale = 1;
    Nose.all(".row, .see-through", figure).forEach((one) => { one.hidden = false; });
    Nose.all("[data-scale]", figure).forEach((button) => button.addEventListener("click", () => {
      // At its natural size its smallest text is just large enough to be read: never below.
      scale = Nose.clamp(scale * (button.dataset.scale === "in" ? 1.25 : 0.8), 1, 4);
      sheet.setAttribute("width", natural * scale);
      sheet.setAttribute("height", natural * scale * sheet.viewBox.baseVal.height / sheet.viewBox.baseVal.width);
    }));
    figure.querySelector("[data-alone]").addEventListener("click", () => {
      const text = new XMLSerializer().serializeToString(sheet);
      const link = URL.createObjectURL(new Blob([text], { type: "image/svg+xml" }));
      window.open(link, "_blank", "noopener");
      setTimeout(() => URL.revokeObjectURL(link), 60000);
    });
    Nose.all("input[data-outline]", figure).forEach((tick) => {
      const outline = sheet.querySelector(`[data-outline="${tick.dataset.outline.split(" ")[1]}"]`);
      const update = () => outline.classList.toggle("hidden-line", tick.checked);
      tick.addEventListener("change", update);
      update();
    });
  }
};
