"use strict";
/* Shared names, and figures in words. Everything of the page's script hangs on Nose. */
const Nose = {};

Nose.byId = (id) => document.getElementById(id);
Nose.all = (selector, root) => Array.from((root || document).querySelectorAll(selector));

/** A length for a read-out, to the nearest 1/16 in or to the millimetre; mm (a number) in. */
Nose.length = function (mm, unit) {
  if (unit !== "in") return Math.round(mm) + " mm";
  const sixteenths = Math.round(Math.abs(mm) / 25.4 * 16);
  const whole = Math.floor(sixteenths / 16);
  let top = sixteenths % 16, bottom = 16;
  while (top && top % 2 === 0) { top /= 2; bottom /= 2; }
  const words = [];
  if (whole || !top) words.push(String(whole));
  if (top) words.push(top + "/" + bottom);
  return words.join(" ") + " in";
};

const WAYS = {
  x: ["ahead of zero", "aft of zero"],
  y: ["left of the centre line", "right of the centre line"],
  z: ["below zero", "above zero"],
};

/** Where a cutting plane stands: "2 1/4 in aft of zero (57 mm)". */
Nose.whereabouts = function (axis, mm, unit) {
  const way = WAYS[axis][mm < 0 ? 0 : 1];
  const said = Nose.length(Math.abs(mm), unit) + " " + way;
  return unit === "mm" ? said : said + " (" + Math.round(Math.abs(mm)) + " mm)";
};

/** Say what has been done, in sight and to screen readers alike. */
Nose.say = function (text) { Nose.byId("said").textContent = text; };

Nose.calm = () => window.matchMedia("(prefers-reduced-motion: reduce)").matches;
Nose.clamp = (value, low, high) => Math.min(Math.max(value, low), high);
