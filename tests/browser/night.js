// A night, spoken quickly into the page's own stream: a picture and an entry each thirty seconds. test_page_memory.py runs it.
// Before the page's modules: its stream is held, and what it brought last is at hand.
window.EventSource = class extends EventSource {
  constructor(...all) {
    super(...all);
    window.stream = this;
    this.addEventListener("snapshot", (event) => (window.brought = event.data));
  }
};

/** So many pictures and entries, from the `from`th on, with other values in each; `keeps`: each picture is kept, as a page must not. */
window.night = async (from, pictures, entries, keeps) => {
  const first = JSON.parse(window.brought);
  const begun = Date.parse(first.verdict.at);
  const at = (n) => new Date(begun + 30000 * n).toISOString();
  const say = (name, shape) => window.stream.dispatchEvent(new MessageEvent(name, { data: JSON.stringify(shape) }));
  const each = (shapes, change) => Object.fromEntries(Object.entries(shapes).map(([id, one]) => [id, { ...one, ...change(one) }]));
  const drawn = () => new Promise((done) => requestAnimationFrame(() => done()));
  const picture = (n) => {
    const points = each(first.points, (p) => ({ at: at(n), value: p.value && p.value + (n % 7) / 10 }));
    const alarms = each(first.alarms, ({ id, state }) => ({ state: id === "pressure_low" && n % 3 ? "normal" : state }));
    const conditions = first.verdict.conditions.map((c) => {
      if (c.id === "reservoir") return { ...c, text: `39.${n % 10} °C; 38.9 °C are needed` };
      return c.id === "free" && n % 5 === 0 ? { ...c, state: "unmet" } : c;
    });
    return { ...first, seq: first.seq + n + 1, points, alarms, verdict: { ...first.verdict, at: at(n), conditions, expected_at: at(n + 130) } };
  };
  for (let n = from; n < from + Math.max(pictures, entries); n += 1) {
    const [was, is] = n % 2 ? ["idle", "in_use"] : ["in_use", "idle"];
    if (n < from + entries) say("entry", { seq: first.seq + n + 1, at: at(n), dated_at: at(n), kind: "phase", body: { from: was, to: is } });
    if (n < from + pictures) {
      const news = picture(n);
      if (keeps) (window.kept ||= []).push(JSON.stringify(news));
      say("snapshot", news);
    }
    if (n % 100 === 0) await drawn();
  }
  await drawn();
  await drawn();
};
