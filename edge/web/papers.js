// Reports: which there are, and what each is of. Each opens as a page of its own; the station makes it when it is asked for.

import { make } from "./dom.js";
import { asked } from "./line.js";
import { say } from "./say.js";
import { atHour, contactWords, dayTitle, periodTitle, isoDay, nowMs, pointName, sentence, startOfDay } from "./told.js";

const DAYS = 31;
const MONTHS = 13;
const HOUR = 3600e3;
const LASTS = [1, 2, 4, 8, 12, 24, 48, 168]; // hours
const FORMS = ["html", "pdf"];

/** A row for each report. `points`: id -> point, as the station tells them. */
export function fill(root, points) {
  const days = lastDays();
  const sensors = Object.entries(points).filter(([, point]) => !contactWords(point.role));
  root.append(
    row("day", [[say("papers.day"), days.map((ms) => [isoDay(ms), sentence(dayTitle(ms))]), 1]], (day) => ({ day })),
    row("period", [[say("papers.period"), periods(isoDay(nowMs())).map((name) => [name, sentence(periodTitle(name))]), 0]], (period) => ({ period })),
    row("incident", [
      [say("papers.day"), days.map((ms) => [ms, sentence(dayTitle(ms))]), 0],
      [say("papers.from"), Array.from({ length: 24 }, (_, hour) => [hour, `${String(hour).padStart(2, "0")}:00`]), 0],
      [say("papers.lasts"), LASTS.map((n) => [n, say("age.h", { n })]), LASTS.indexOf(24)],
    ], (day, hour, n) => {
      const from = atHour(Number(day), Number(hour));
      return { from: new Date(from).toISOString(), to: new Date(from + Number(n) * HOUR).toISOString() };
    }),
  );
  root.append(row("commissioning", [], () => ({})));
  if (sensors.length) root.append(row("calibration", [[say("column.point"), sensors.map(([id, point]) => [id, `${sentence(pointName(point))} (${id})`]), 0]], (point) => ({ point })));
}

/** The days up to today, each by its first instant, today first. */
function lastDays() {
  const found = [startOfDay(nowMs())];
  while (found.length < DAYS) found.push(startOfDay(found.at(-1) - 12 * HOUR));
  return found;
}

/** This month and those before it, and their quarters: "2026-03", "2026-Q1". */
function periods(today) {
  const [year, month] = today.split("-").map(Number);
  const months = Array.from({ length: MONTHS }, (_, back) => year * 12 + month - 1 - back);
  const named = months.map((n) => `${Math.floor(n / 12)}-${String((n % 12) + 1).padStart(2, "0")}`);
  const quarters = new Set(months.map((n) => `${Math.floor(n / 12)}-Q${Math.floor((n % 12) / 3) + 1}`));
  return [...named, ...quarters];
}

function row(what, choices, told) {
  const selects = choices.map(([of, options, first]) => {
    const select = make("select", "paper-choice", ...options.map(([value, text]) => Object.assign(make("option", "", text), { value: String(value) })));
    select.setAttribute("aria-label", `${say(`papers.${what}`)}: ${of}`);
    select.selectedIndex = Math.min(first, options.length - 1);
    return select;
  });
  const links = FORMS.map((form) => Object.assign(make("a", "paper-link", say(`papers.${form}`)), { target: "_blank", rel: "noopener" }));
  const turn = () => {
    const query = told(...selects.map((select) => select.value));
    links.forEach((link, n) => {
      link.href = asked(`/api/1/report/${what}?${new URLSearchParams({ ...query, form: FORMS[n] })}`);
      link.setAttribute("aria-label", `${say(`papers.${what}`)}: ${say(`papers.${FORMS[n]}`)}`);
    });
  };
  for (const select of selects) select.addEventListener("change", turn);
  turn();
  const paper = make("div", "paper", make("h2", "", say(`papers.${what}`)), make("div", "paper-choices", ...selects), make("div", "paper-links", ...links));
  paper.dataset.of = what;
  return paper;
}
