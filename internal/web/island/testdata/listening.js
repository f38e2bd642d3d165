// Hands the modules that listen to the tests, and wires the page under test.
import { Ear } from "/static/ear.js";
import { Gatherer } from "/static/eargather.js";
import { Level } from "/static/earlevel.js";
import { Line, wire } from "/static/earline.js";
import { Counter, Stamps } from "/static/earstamp.js";
import { checkTone, find, sweep } from "/static/eartone.js";
import { listen } from "/static/listen.js";

Object.assign(window, { listening: { Ear, Gatherer, Level, Line, wire, Counter, Stamps, checkTone, find, sweep } });
for (const e of document.querySelectorAll("[data-ear-socket]")) listen(e, window.clock);
document.body.dataset.listening = "yes";
