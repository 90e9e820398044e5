"use strict";
// How a chart tells time: as the clocks of the log's zone show it, counted from the log's start where it has no dates, or
// as a plain number in the unit `since`. `clock.ahead` says from when on those clocks are by how much ahead of UTC. [ms]
const inTime = (() => {
  const SECOND = 1e3, MINUTE = 6e4, HOUR = 36e5, DAY = 864e5;
  const MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
  const STEPS = [
    ...[1, 2, 5, 10, 20, 50, 100, 200, 500], ...[1, 2, 5, 10, 20, 30].map((n) => n * SECOND),
    ...[1, 2, 5, 10, 20, 30].map((n) => n * MINUTE), ...[1, 2, 3, 6, 12].map((n) => n * HOUR),
    ...[1, 2, 4, 7, 14].map((n) => n * DAY),
  ];
  const STEPS_IN_MONTHS = [1, 2, 3, 6, 12, 24, 60, 120];

  const two = (n) => String(n).padStart(2, "0");
  const number = (x) => Number(x.toPrecision(4)).toLocaleString("en", { maximumFractionDigits: 6 });

  const aheadAt = (t, clock) => {
    let by = clock.ahead.length ? clock.ahead[0] : [0, 0, ""];
    for (const change of clock.ahead) if (change[0] <= t) by = change;
    return by;
  };
  const local = (t, clock) => new Date(t + aheadAt(t, clock)[1]);
  const utc = (shown, clock) => {
    const first = shown - aheadAt(shown, clock)[1];
    return shown - aheadAt(first, clock)[1];
  };
  const elapsed = (t) => {
    const s = Math.round(Math.abs(t) / SECOND);
    return `${t < 0 ? "-" : "+"}${Math.floor(s / 3600)}:${two(Math.floor(s / 60) % 60)}:${two(s % 60)}`;
  };
  const ofDay = (date, step) => {
    const text = `${two(date.getUTCHours())}:${two(date.getUTCMinutes())}`;
    if (step >= MINUTE) return text;
    const part = step >= SECOND ? "" : (date.getUTCMilliseconds() / 1e3).toFixed(step >= 100 ? 1 : 3).slice(1);
    return `${text}:${two(date.getUTCSeconds())}${part}`;
  };
  const instant = (t, clock) => {
    if (clock.since) return `${number(t)} ${clock.since} from the start`;
    if (!clock.ahead.length) return elapsed(t);
    const date = local(t, clock), named = clock.ahead.length > 1 ? ` ${aheadAt(t, clock)[2]}` : "";
    const step = date.getUTCMilliseconds() ? 100 : SECOND;
    return `${date.getUTCDate()} ${MONTHS[date.getUTCMonth()]} ${date.getUTCFullYear()} ${ofDay(date, step)}${named}`;
  };
  const inMonths = (start, end, clock, most) => {
    const first = local(start, clock), last = local(end, clock);
    const whole = (date) => date.getUTCFullYear() * 12 + date.getUTCMonth();
    const step = STEPS_IN_MONTHS.find((n) => (whole(last) - whole(first)) / n <= most) ?? 1200;
    const ticks = [];
    for (let month = Math.ceil(whole(first) / step) * step; month <= whole(last); month += step) {
      ticks.push(utc(Date.UTC(Math.floor(month / 12), month % 12), clock));
    }
    return ticks.filter((t) => t >= start && t <= end);
  };
  const inNumbers = (start, end, most) => {
    const decade = 10 ** Math.floor(Math.log10((end - start) / most));
    const step = decade * [1, 2, 5, 10].find((n) => (end - start) / (n * decade) <= most);
    const first = Math.ceil(start / step), count = Math.floor(end / step) - first + 1;
    return Array.from({ length: count }, (_, i) => (first + i) * step);
  };
  const ticks = (start, end, clock, most) => {
    if (clock.since) return inNumbers(start, end, most);
    const step = STEPS.find((n) => (end - start) / n <= most);
    if (!step && clock.ahead.length) return inMonths(start, end, clock, most);
    const stride = step ?? DAY * Math.ceil((end - start) / DAY / most);
    const found = [];
    let shown = Math.ceil(local(start, clock).getTime() / stride) * stride;
    for (let t = utc(shown, clock); t <= end; shown += stride, t = utc(shown, clock)) {
      if (t >= start && t !== found.at(-1)) found.push(t);
    }
    return found;
  };
  const label = (t, all, clock) => {
    if (clock.since) return number(t);
    if (!clock.ahead.length) return elapsed(t);
    const step = all.length > 1 ? all[1] - all[0] : HOUR, date = local(t, clock);
    const midnight = date.getTime() % DAY === 0, month = MONTHS[date.getUTCMonth()];
    if (step >= 27 * DAY) return date.getUTCMonth() ? month : String(date.getUTCFullYear());
    return midnight ? `${date.getUTCDate()} ${month}` : ofDay(date, step);
  };
  const length = (ms) => {
    const [unit, name] = ms < 2 * MINUTE ? [SECOND, "s"] : ms < 2 * HOUR ? [MINUTE, "min"] : [HOUR, "h"];
    return `${number(ms / unit)} ${name}`;
  };

  return { ticks, label, instant, length, number };
})();
