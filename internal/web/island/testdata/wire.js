// Wires the modules to the page under test and hands them to the tests.
import * as device from "/static/device.js";
import * as tones from "/static/tones.js";
import * as tap from "/static/tap.js";
import * as exercise from "/static/exercise.js";
import * as start from "/static/start.js";
import * as outbox from "/static/outbox.js";

const clock = new device.DeviceClock("/clock/exchange");
Object.assign(window, { island: { ...device, ...tones, ...tap, ...exercise, ...start, ...outbox }, clock });
if (!document.body.dataset.unwatched) clock.watch();
for (const e of document.querySelectorAll("[data-tap]")) tap.compareByTap(e, clock);
for (const e of document.querySelectorAll("[data-exercise]")) exercise.exercise(e);
for (const e of document.querySelectorAll("[data-start]")) start.countDown(e, clock);
for (const e of document.querySelectorAll("form[data-keep]")) outbox.keep(e, clock, (answer) => { document.body.dataset.sent = answer.words; });
for (const e of document.querySelectorAll("[data-outbox]")) outbox.showOutbox(e);
document.body.dataset.ready = "yes";
