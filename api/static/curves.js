// Recorded curves: a fixed number of buckets a channel, thinned as time goes on, so that a page
// left open overnight holds no more than one just opened.

const MOST = 900;

/** One channel's buckets (time, least, mean, greatest) and the gaps between them. */
export class Curve {
  constructor(answer) {
    this.channel = answer.channel;
    this.role = answer.role;
    this.width = Math.max(1, answer.bucket_s);
    this.points = answer.points.t.map((t, i) => ({
      t, min: answer.points.min[i], mean: answer.points.mean[i], max: answer.points.max[i], n: 1,
    }));
    this.gaps = answer.gaps.map((gap) => ({ from: gap.from_at, to: gap.to_at }));
  }

  /** Take a live value; late ones change nothing here (the next load brings them). */
  add(t, value) {
    const last = this.points[this.points.length - 1];
    if (last && t < last.t) return;
    if (last && t - last.t < this.width) {
      last.n += 1;
      last.mean += (value - last.mean) / last.n;
      last.min = Math.min(last.min, value);
      last.max = Math.max(last.max, value);
      return;
    }
    this.points.push({ t, min: value, mean: value, max: value, n: 1 });
    if (this.points.length > MOST) this.thin();
  }

  thin() {
    this.width *= 2;
    const out = [];
    for (let i = 0; i < this.points.length; i += 2) {
      const [a, b] = [this.points[i], this.points[i + 1] ?? this.points[i]];
      out.push({ t: a.t, min: Math.min(a.min, b.min), mean: (a.mean + b.mean) / 2, max: Math.max(a.max, b.max), n: a.n + b.n });
    }
    this.points = out;
  }

  /** The value at time t between two buckets, null where nothing is near. */
  at(t) {
    const points = this.points;
    if (points.length === 0 || t < points[0].t) return null;
    let [low, high] = [0, points.length - 1];
    while (low < high) {
      const middle = (low + high + 1) >> 1;
      if (points[middle].t <= t) low = middle;
      else high = middle - 1;
    }
    const [a, b] = [points[low], points[low + 1]];
    if (!b) return t - a.t > Math.max(10, this.width * 3) ? null : a.mean;
    if (b.t - a.t > Math.max(10, this.width * 4)) return null;
    return a.mean + ((t - a.t) / (b.t - a.t)) * (b.mean - a.mean);
  }

  get last() {
    return this.points[this.points.length - 1] ?? null;
  }

  /** Stretches without a break: lists of buckets. */
  stretches() {
    const out = [];
    let current = [];
    for (const point of this.points) {
      const last = current[current.length - 1];
      const broken = last && (point.t - last.t > Math.max(12, this.width * 5) || this.gaps.some((g) => g.from < point.t && g.to > last.t));
      if (broken) {
        out.push(current);
        current = [];
      }
      current.push(point);
    }
    if (current.length) out.push(current);
    return out;
  }
}
