// Least contrast (WCAG 2.1, 1.4.3) of the first elements of a kind against what is behind them.
(css) => {
  const numbers = (text) => text.match(/[\d.]+/g).map(Number);
  const linear = (v) => (v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
  const shine = ([r, g, b]) => 0.2126 * linear(r / 255) + 0.7152 * linear(g / 255) + 0.0722 * linear(b / 255);
  const behind = (e) => {
    for (; e; e = e.parentElement) {
      const colour = numbers(getComputedStyle(e).backgroundColor);
      if (colour.length < 4 || colour[3] > 0.5) return colour;
    }
    return [255, 255, 255];
  };
  const ratio = (e) => {
    const [light, dark] = [numbers(getComputedStyle(e).color), behind(e)].map(shine).sort((x, y) => y - x);
    return (light + 0.05) / (dark + 0.05);
  };
  return Math.min(...[...document.querySelectorAll(css)].slice(0, 5).map(ratio));
};
