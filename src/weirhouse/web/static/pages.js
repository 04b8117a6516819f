// Small helps over pages that work without them: the working in a drawer, the timetable by keys and touch,
// the grid of the day, and no old page that passes for now.
import { copying } from "./copy.js";
import { drawer } from "./drawer.js";
import { fresh } from "./fresh.js";
import { looking } from "./looking.js";
import { timetable } from "./timetable.js";

drawer(document);
for (const button of document.querySelectorAll("[data-copy]")) copying(button);
for (const notice of document.querySelectorAll("[data-fresh]")) fresh(notice);
for (const figure of document.querySelectorAll(".timetable-figure")) timetable(figure);
for (const form of document.querySelectorAll("form[data-grid]")) import("./grid.js").then((found) => found.grid(form));
for (const bar of document.querySelectorAll("[data-progress]")) looking(bar);
