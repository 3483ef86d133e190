// An element with its class and its text: for the scripts of every widget, which are put behind this one.

function make(tag, className, text) {
  const e = document.createElement(tag);
  if (className) e.className = className;
  if (text !== undefined) e.textContent = text;
  return e;
}
