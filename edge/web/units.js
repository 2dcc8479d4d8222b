// Quantities in the unit that whoever looks on has chosen on this device. The factors are exact by definition, as in the station's
// own table (edge/domain/quantities.py); values come in the unit that the station holds them in.

import { chosen } from "./device.js";
import { figure, has, say, typedNumber } from "./say.js";

const PSI_KPA = (0.45359237 * 9.80665) / (0.0254 * 0.0254) / 1000; // pound, standard gravity, inch
const GALLON_L = 231 * 2.54 ** 3 / 1000; // the US gallon is 231 cubic inches
// held in -> what it is, and unit -> [scale, offset]: held = shown * scale + offset
const HELD = {
  Cel: { what: "temperature", units: { degC: [1, 0], degF: [5 / 9, (-32 * 5) / 9] } },
  kPa: { what: "pressure", units: { psi: [PSI_KPA, 0], kPa: [1, 0], bar: [100, 0] } },
  "L/min": { what: "volume", units: { "L/min": [1, 0], "gal/min": [GALLON_L, 0] } },
  L: { what: "volume", units: { L: [1, 0], gal: [GALLON_L, 0] } },
};
const SIGNS = { Cel: "°C", degC: "°C", degF: "°F", "uS/cm": "µS/cm", 1: "" };
const DIGITS = { degC: 1, degF: 1, psi: 1, kPa: 0, bar: 2, "L/min": 2, "gal/min": 2, L: 0, gal: 0, d: 0, s: 0, "uS/cm": 1 };

/** What can be chosen, by what it is of; the first leaves it to the station. */
export const CHOICES = {
  temperature: ["station", "degC", "degF"],
  pressure: ["station", "psi", "kPa", "bar"],
  volume: ["station", "L", "gal"],
};
export const signOf = (unit) => (has(`unit.${unit}`) ? say(`unit.${unit}`) : SIGNS[unit] ?? unit ?? "");
const choiceOf = (what) => {
  const choice = chosen(`units.${what}`, "station");
  return CHOICES[what].includes(choice) ? choice : "station";
};
/** The units chosen here, as the station is asked for them; "" for its own. */
export const unitsAsked = () => Object.keys(CHOICES).map(choiceOf).filter((choice) => choice !== "station").join(",");

/** A held value in another unit of the same kind. */
export function convert(value, held, unit) {
  const [scale, offset] = HELD[held].units[unit];
  return (value - offset) / scale;
}

// What the station's own file shows each kind in, learnt from its points.
const stations = {};
export function learn(points) {
  for (const point of Object.values(points)) if (point.shown && HELD[point.unit]) stations[point.unit] = point.shown.unit;
  if (stations["L/min"]) stations.L = stations["L/min"].startsWith("gal") ? "gal" : "L";
}

/** The unit in which a value held in `held` is shown here. */
function unitFor(held, ownUnit) {
  const kind = HELD[held];
  if (!kind) return held;
  const choice = choiceOf(kind.what);
  const fits = Object.keys(kind.units).find((unit) => unit === choice || unit.split("/")[0] === choice);
  if (fits) return fits;
  const own = ownUnit || stations[held];
  return own && kind.units[own] ? own : own ? null : Object.keys(kind.units).find((unit) => unit === held) || "degC";
}

/** {unit, convert}: the unit in which values held in `held` are shown here, and how one gets there. */
export function converterOf(held) {
  const unit = unitFor(held) || held;
  return { unit, convert: HELD[held] && HELD[held].units[unit] ? (value) => convert(value, held, unit) : (value) => value };
}

const text = (value, unit) => figure(value, Math.abs(value) >= 1000 ? 0 : DIGITS[unit] ?? (Math.abs(value) < 10 ? 2 : 1));

/** [number, unit] as shown; `shown`: the station's own {value, unit}, which stands where its unit is none of ours. */
export function inWords(value, held, shown) {
  if (value === null || value === undefined || !Number.isFinite(value)) return ["—", ""];
  const unit = unitFor(held, shown && shown.unit);
  if (unit === null || !HELD[held]) {
    const own = shown && typeof shown.value === "number" ? shown : { value, unit: held };
    return [text(own.value, own.unit), signOf(own.unit)];
  }
  return [text(convert(value, held, unit), unit), signOf(unit)];
}
/** The sign of a difference in this unit. */
export const stepOf = (unit) => (unit === "degC" ? "K" : signOf(unit));
/** "0.30 K", "0.54 °F": how far two held values are apart. */
export function difference(value, held, digits) {
  const kind = HELD[held];
  const unit = unitFor(held) || held;
  const scale = kind && kind.units[unit] ? kind.units[unit][0] : 1;
  return `${figure(value / scale, digits ?? (DIGITS[unit] ?? 1) + 1)} ${stepOf(unit)}`.trim();
}
/** What is added to a held value times `gain`, as [number, unit] of the unit shown here. */
export function offsetIn(offset, gain, held) {
  const kind = HELD[held];
  const unit = unitFor(held) || held;
  if (!kind || !kind.units[unit]) return [offset, signOf(held)];
  const [scale, zero] = kind.units[unit];
  return [(offset + zero * (gain - 1)) / scale, stepOf(unit)];
}
/** What was typed, "8.5 degC", with this language's decimal sign and the unit's own: "8.5 °C"; anything else as it is. */
export function asTyped(told) {
  if (typeof told === "number") return figure(told);
  const found = /^\s*([-+]?[0-9]+(?:\.[0-9]+)?)\s*(\S.*)?$/.exec(String(told));
  return found ? `${typedNumber(found[1])} ${found[2] ? signOf(found[2]) : ""}`.trim() : String(told);
}
/** "31.4 °C"; a value whose unit has no other stands as it is. */
export const quantity = (value, held, shown) => inWords(value, held, shown).filter(Boolean).join(" ");
/** The same with one digit more, as a comparison needs it. */
export function precisely(value, held) {
  const { unit, convert: shown } = converterOf(held);
  return `${figure(shown(value), (DIGITS[unit] ?? 1) + 1)} ${signOf(unit)}`.trim();
}
