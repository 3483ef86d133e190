// View: which rows of the table are shown, and in which order. Sorting and filtering show; the table itself, and the
// file behind it, stay in their order. A row does not jump or vanish while it is edited: the view is made when it is
// asked for, and only new rows come into it later.

class View {
  constructor(grid) {
    this.grid = grid;
    this.sort = null; // {key, down}
    this.words = '';
    this.keys = [];
    this.hidden = new Set();
  }

  get active() {
    return Boolean(this.sort || this.words);
  }

  // Keys of the rows shown, in order; rows that are new stand below the row they were made from.
  shown() {
    const order = this.grid.model.get('order');
    if (!this.active) return order;
    const there = new Set(order), keys = this.keys.filter((key) => there.has(key)), known = new Set(keys);
    order.forEach((key, i) => {
      if (known.has(key) || this.hidden.has(key)) return;
      keys.splice(keys.indexOf(order[i - 1]) + 1 || keys.length, 0, key);
      known.add(key);
    });
    return (this.keys = keys);
  }

  // Made anew from the texts as they are shown, refused ones included.
  make() {
    const order = this.grid.model.get('order'), words = this.words.toLowerCase().split(/\s+/).filter(Boolean);
    const texts = new Map(order.map((key, i) => [key, this.grid.texts(key, i)]));
    const fits = (key) => {
      const line = texts.get(key).join('\n').toLowerCase();
      return words.every((word) => line.includes(word));
    };
    this.keys = order.filter(fits);
    this.hidden = new Set(order.filter((key) => !fits(key)));
    if (this.sort) this.arrange(texts);
    this.grid.sync();
  }

  arrange(texts) {
    const j = this.grid.columns.findIndex((c) => c.key === this.sort.key), down = this.sort.down ? -1 : 1;
    const number = this.grid.columns[j]?.kind === 'number';
    const compare = (a, b) => number ? Number(a) - Number(b) : a.localeCompare(b, undefined, {numeric: true, sensitivity: 'base'});
    // What is empty, or no number, comes last either way.
    const last = (text) => text === '' || (number && Number.isNaN(Number(text)));
    this.keys.sort((a, b) => {
      const x = texts.get(a)[j], y = texts.get(b)[j];
      return last(x) || last(y) ? last(x) - last(y) : down * compare(x, y);
    });
  }

  // Rising, falling, as in the file.
  sortBy(key) {
    if (this.sort?.key !== key) this.sort = {key, down: false};
    else this.sort = this.sort.down ? null : {key, down: true};
    this.make();
  }

  filter(words) {
    this.words = words.trim();
    this.make();
  }

  clear() {
    this.words = '';
    this.grid.filter.value = '';
    this.make();
  }

  sign(key) {
    return this.sort?.key === key ? (this.sort.down ? 'descending' : 'ascending') : 'none';
  }
}

// Range: cells of one column, one below the other, from where the focus was to where Shift led.
class CellRange {
  constructor(grid) {
    this.grid = grid;
    this.from = null;
  }

  // Rows of the range from top to bottom; empty where there is none.
  get rows() {
    if (!this.from?.isConnected || !this.to?.isConnected || this.from === this.to) return [];
    const [a, b] = [this.from, this.to].map((e) => e.closest('tr').sectionRowIndex).sort((x, y) => x - y);
    return [...this.grid.body.rows].slice(a, b + 1);
  }

  get cells() {
    return this.rows.map((tr) => tr.cells[Number(this.from.dataset.j) + 1].firstChild);
  }

  begin(e) {
    this.from = this.to = e;
    this.paint();
  }

  extend(e) {
    if (!e) return;
    if (!this.from?.isConnected) this.from = e;
    this.to = e.dataset.col === this.from.dataset.col ? e : this.to;
    this.paint();
  }

  paint() {
    for (const td of this.grid.body.querySelectorAll('.pdm-grid-range')) td.classList.remove('pdm-grid-range');
    for (const e of this.cells) e.parentElement.classList.add('pdm-grid-range');
  }
}
