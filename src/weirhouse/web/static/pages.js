// Small helps over pages that work without them: the working in a drawer, the timetable by keys and touch.
import { drawer } from "./drawer.js";
import { timetable } from "./timetable.js";

drawer(document);
for (const figure of document.querySelectorAll(".timetable-figure")) timetable(figure);
