// Every text that is seen, with its colour and all colours of its ground: [[what, ratio, needed], …] where the ratio is too small.
// WCAG 2.2, "relative luminance" and "contrast ratio"; 1.4.3: 4.5, and 3 for text of 24 px, or 18.66 px if bold, and more.
(() => {
  const numbers = (text) => (text.match(/[\d.]+/g) || []).map(Number);
  const parsed = (text) => {
    const [r, g, b, a = 1] = numbers(text);
    return { rgb: [r, g, b], a };
  };
  const linear = (c) => (c / 255 <= 0.04045 ? c / 255 / 12.92 : ((c / 255 + 0.055) / 1.055) ** 2.4);
  const luminance = (rgb) => 0.2126 * linear(rgb[0]) + 0.7152 * linear(rgb[1]) + 0.0722 * linear(rgb[2]);
  const ratio = (one, other) => {
    const [dark, bright] = [luminance(one), luminance(other)].sort((a, b) => a - b);
    return (bright + 0.05) / (dark + 0.05);
  };
  const over = (top, a, ground) => top.map((c, n) => c * a + ground[n] * (1 - a));
  // what may lie behind an element's text: of a pattern each of its colours
  const grounds = (element) => {
    if (!element) return [[255, 255, 255]];
    const style = getComputedStyle(element);
    if (element.matches("dialog")) return [parsed(style.backgroundColor).rgb];
    const behind = () => grounds(element.parentElement);
    const { rgb, a } = parsed(style.backgroundColor);
    const base = a === 1 ? [rgb] : a === 0 ? behind() : behind().map((ground) => over(rgb, a, ground));
    const pattern = (style.backgroundImage.match(/rgba?\([^)]*\)/g) || []).map(parsed);
    const whole = pattern.length && pattern.every((one) => one.a === 1);
    return [...(whole ? [] : base), ...pattern.flatMap((one) => base.map((ground) => over(one.rgb, one.a, ground)))];
  };
  const isSeen = (element) => {
    const box = element.getBoundingClientRect();
    return element.checkVisibility({ opacityProperty: true, visibilityProperty: true }) && box.width > 1 && box.height > 1;
  };
  const texts = [...document.querySelectorAll("body *")].filter((element) =>
    [...element.childNodes].some((node) => node.nodeType === 3 && node.data.trim()) && isSeen(element) && !element.closest("script, noscript, .skip"));
  const modal = document.querySelector("dialog[open]");
  const found = [];
  for (const element of texts.filter((one) => !modal || modal.contains(one))) {
    const style = getComputedStyle(element);
    const size = parseFloat(style.fontSize);
    const needed = size >= 24 || (size >= 18.66 && Number(style.fontWeight) >= 700) ? 3 : 4.5;
    const least = Math.min(...grounds(element).map((ground) => ratio(parsed(style.color).rgb, ground)));
    if (!(least >= needed)) found.push([`${element.tagName}.${element.className} ${element.textContent.slice(0, 40)}`, least, needed]);
  }
  return [texts.length, found];
})()
