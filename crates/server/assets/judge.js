// A reading held against its limit on this phone, by the rule and with the figures of the shop (ISO 14253-1, JCGM 106): inside,
// usable by judgement, outside, or this gauge cannot tell. What cannot be read for sure is left to the shop.
self.benchJudge = (() => {
  const WORDS = { inside: "inside", "by-judgement": "usable by judgement", outside: "outside", "cannot-tell": "this gauge cannot tell" };

  // The complementary error function, to the last digits: its series near nought, a continued fraction farther out.
  function erfc(x) {
    if (x < 0) return 2 - erfc(-x);
    if (x < 2.5) {
      let term = x, sum = x;
      for (let n = 1; Math.abs(term) > 1e-17 * Math.abs(sum) && n < 200; n++) {
        term *= (-x * x) / n;
        sum += term / (2 * n + 1);
      }
      return 1 - (2 / Math.sqrt(Math.PI)) * sum;
    }
    let fraction = 0;
    for (let n = 80; n > 0; n--) fraction = n / 2 / (x + fraction);
    return Math.exp(-x * x) / Math.sqrt(Math.PI) / (x + fraction);
  }
  const below = (z) => 0.5 * erfc(-z / Math.SQRT2);
  const there = (edge) => edge !== null && edge !== undefined;

  function within(value, u, low, high) {
    if (u === 0) return (!there(low) || value >= low) && (!there(high) || value <= high) ? 1 : 0;
    const a = there(low) ? (low - value) / u : null, b = there(high) ? (high - value) / u : null;
    if (a === null) return b === null ? 1 : below(b);
    if (b === null) return below(-a);
    return Math.min(1, Math.max(0, a > 0 ? below(-a) - below(-b) : below(b) - below(a)));
  }
  function beyond(value, u, low, high) {
    if (u === 0) return 1 - within(value, u, low, high);
    return Math.min(1, (there(low) ? below((low - value) / u) : 0) + (there(high) ? below((value - high) / u) : 0));
  }

  function decide(value, u, edges, risks) {
    let [lowReject, lowKeep, highKeep, highReject] = edges;
    const room = (a, b) => there(a) && there(b) && a < b;
    const lowRoom = room(lowReject, lowKeep), highRoom = room(highKeep, highReject);
    if (!there(lowReject)) lowReject = lowKeep;
    if (!there(highReject)) highReject = highKeep;
    const roomHere = there(lowKeep) && there(highKeep) ? (value - lowKeep < highKeep - value ? lowRoom : highRoom) : there(lowKeep) ? lowRoom : highRoom;
    if (beyond(value, u, lowKeep, highKeep) <= risks[0]) return "inside";
    if (within(value, u, lowReject, highReject) <= risks[1]) return "outside";
    if (roomHere && beyond(value, u, lowReject, highReject) <= risks[0]) return "by-judgement";
    return "cannot-tell";
  }

  // A unit as it is compared: small marks made plain, one point for what only sets apart.
  function keyOf(text) {
    let key = "";
    for (let c of text.trim()) {
      if ("µμ".includes(c)) c = "u";
      else if (c === "²") c = "2";
      else if (c === "³") c = "3";
      else if ("⋅·∙•*×-‐‑.".includes(c) || /\s/.test(c)) c = ".";
      else if ("º˚".includes(c)) c = "°";
      else if ("″”“„".includes(c)) c = '"';
      else if ("′’‘´".includes(c)) c = "'";
      else if (c === "^") continue;
      if (c === "." && (!key || key.endsWith("."))) continue;
      key += c;
    }
    return key.replace(/\.+$/, "").replaceAll(".(", "(");
  }

  // The figure in the unit of the reading, with one step of its last digit; "question" where it has two readings, nothing
  // where only the shop reads it.
  function read(text, beside, by) {
    const plain = text.replace(/[−–—]/g, "-").replace(/[\u00a0\u2009\u202f]/g, " ").trim();
    const found = /^([+-]?)\s*(\d+\s+\d+\/\d+|\d+-\d+\/\d+|\d+\/\d+|\d*[.,]\d+|\d+)(?![\d.,/'])\s*(.*)$/.exec(plain);
    if (!found) return null;
    const [, sign, digits, word] = found;
    if (/^\d/.test(word) || /^[eE][-+]?\d/.test(word)) return null;
    let symbol = beside || by.unit;
    if (word && !/^[.,]$/.test(word)) {
      const key = keyOf(word), small = key.toLowerCase();
      if (by.asked.includes(small)) return "question";
      const alike = [...new Set(Object.entries(by.written).filter(([w, u]) => w.toLowerCase() === small && u !== "nm").map(([, u]) => u))];
      symbol = by.written[key] || (key.length > 1 && alike.length === 1 ? alike[0] : null);
    }
    const unit = by.units[symbol];
    if (!unit) return null;
    let number, step;
    if (digits.includes("/")) {
      const [before, under] = digits.split("/");
      const parts = before.split(/[\s-]+/), over = Number(parts.pop()), whole = Number(parts.pop() || 0);
      const odd = Number(under) > 128 && (Number(under) & (Number(under) - 1)) !== 0 && !/^10*$/.test(under);
      if (!Number(under) || odd || (/[\s-]/.test(before) && over >= Number(under))) return null;
      number = whole + over / Number(under);
      step = 1 / Number(under);
    } else {
      const [whole, decimals = ""] = digits.split(/[.,]/);
      const three = decimals.length === 3 && whole.length >= 1 && whole.length <= 3 && !whole.startsWith("0");
      if (three && digits.includes(",") && by.thousands) [number, step] = [Number(whole + decimals), 1];
      else if (three && (digits.includes(",") || by.thousands)) return "question";
      else [number, step] = [Number(`${whole || 0}.${decimals || 0}`), Number(`1e-${decimals.length}`)];
    }
    if (sign === "-") number = -number;
    return { value: number * unit[0] + unit[1], step: step * Math.abs(unit[0]) };
  }

  // The verdict on a reading; others are the readings of its kind that wait on this phone.
  function verdict(by, reading, others = []) {
    if (!by) return null;
    if (by.kind === "look") {
      const place = by.outcomes.indexOf(reading.value);
      return place < 0 ? null : place === 0 ? "inside" : by.graded && place + 1 === by.outcomes.length ? "outside" : "by-judgement";
    }
    const figure = read(reading.value, reading.unit, by);
    if (!figure || figure === "question") return figure;
    if (there(by.min) && figure.value < by.min) return null;
    const own = by.gauges[reading.gauge || "|"];
    const zone = by.zones[by.of[reading.position]];
    if (own === null || own === undefined || !zone) return null;
    const u = Math.max(own, figure.step / Math.sqrt(12));
    if (!by.share) return zone.edges ? decide(figure.value, u, zone.edges, by.risks) : "cannot-tell";
    const all = others.map((r) => read(r.value, r.unit, by)).filter((f) => f && f !== "question").map((f) => f.value);
    const best = (by.share.lower_is_worse ? Math.max : Math.min)(...all, figure.value, ...(there(by.share.best) ? [by.share.best] : []));
    const whole = zone.whole ?? best;
    if (!(whole > 0) || !zone.edges) return null;
    const share = figure.value / whole;
    return decide(share, (u * share) / Math.max(Math.abs(figure.value), 1e-12), zone.edges, by.risks);
  }

  return { verdict, read, words: (said) => WORDS[said], limit: (by, at) => by.zones?.[by.of[at]]?.name };
})();
