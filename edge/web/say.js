// The page's own words, in the language of whoever looks on.
//
// What the page says itself stands in words/: one file for each language, all with the same ids, and nowhere else. To say something:
//
//   say("now.more", { n: 3 })     the template of this id, its values put in; values that are numbers are written as the language does
//
// - An id is "<view or file>.<what>", lower case. It, its English and its three translations come in one change; the value names are the
//   same in all. One id has one form for any number: say it in another way ("Anzahl: 3"), or take two ids.
// - Ids are written out where they are used. Several of one kind may be put together from a head and what comes from outside:
//   say(`quality.${quality}`); where such a thing may be new to this page, ask has(id) first.
// - say() is called when something is shown, never when a module is loaded: the language may change meanwhile. A table of texts is a
//   table of ids. What mount() makes is made anew when the language changes, with the view's ids, focus and place kept (main.js).
// - A view's name in the navigation is `view.<its place>`.
// - Titles of roles, conditions, alarms, states and records come from the station (told.js), its sentences too: line.js asks for them in
//   this language and in the units chosen here.
// - figure(value, digits) writes a number; told.js has times, dates and spans, units.js quantities.
//
// tests/unit/repository/test_page_words.py finds what is missing, left over, left in English, or said elsewhere.

import { chosen } from "./device.js";

/** Tag -> what those who speak it call it, its file, and by which rules numbers and dates are written. */
export const LANGUAGES = {
  en: { name: "English", file: "english", rules: "en-GB" },
  de: { name: "Deutsch", file: "german", rules: "de" },
  fr: { name: "Français", file: "french", rules: "fr" },
  es: { name: "Español", file: "spanish", rules: "es" },
};

let spoken = "en";
let words = {};

/** The tag of the language in use. */
export const language = () => spoken;
/** By which rules numbers and dates are written. */
export const rules = () => LANGUAGES[spoken].rules;

/** The language chosen on this device; else the first of the device's own that there is. */
function wanted() {
  const choice = chosen("lang", "device");
  if (Object.hasOwn(LANGUAGES, choice)) return choice;
  return navigator.languages.map((tag) => tag.toLowerCase().split("-")[0]).find((tag) => Object.hasOwn(LANGUAGES, tag)) || "en";
}

/** Load the words of the language that is wanted now, and speak it from then on. False where they can't be had: it stays as it was. */
export async function speak() {
  const tag = wanted();
  try {
    const found = await import(`./words/${LANGUAGES[tag].file}.js`);
    if (tag !== wanted()) return false; // another was chosen meanwhile
    [spoken, words] = [tag, found.WORDS];
  } catch {
    return false; // the station is not heard
  }
  document.documentElement.lang = tag;
  return true;
}

export const has = (id) => Object.hasOwn(words, id);
/** The words of an id with these values in them. */
export function say(id, values = {}) {
  if (!has(id)) return id;
  return words[id].replace(/\{(\w+)\}/g, (whole, name) => (typeof values[name] === "number" ? figure(values[name]) : values[name] ?? ""));
}

const formats = new Map();
/** A number with so many digits behind the decimal sign; without `digits` as many as it has. */
export function figure(value, digits, more = {}) {
  const places = digits === undefined ? { maximumFractionDigits: 12 } : { minimumFractionDigits: digits, maximumFractionDigits: digits };
  const key = `${spoken} ${digits} ${JSON.stringify(more)}`;
  if (!formats.has(key)) formats.set(key, new Intl.NumberFormat(rules(), { ...places, ...more, useGrouping: false }));
  return formats.get(key).format(value);
}
/** "a or b": one of several. */
export const either = (all) => new Intl.ListFormat(rules(), { type: "disjunction" }).format(all);
/** A number as it was typed, with this language's decimal sign in place of the point. */
export const typedNumber = (text) => text.replace(".", figure(0.5)[1]);
/** A title as it stands within a sentence: German keeps its capital. */
export const small = (title) => (spoken === "de" || !title ? title : title[0].toLowerCase() + title.slice(1));

// what there is to show waits for words: without them it would say nothing
while (!(await speak())) await new Promise((done) => setTimeout(done, 3000));
