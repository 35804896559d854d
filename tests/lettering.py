"""Questions to a browser about the letters of a page, as scripts."""

from typing import Final

#: Lines that the browser finds longer or shorter than we did, by more than it rounds letters.
MISMEASURED: Final = """() => [...document.querySelectorAll("svg text")].flatMap(text => {
  const ours = Number(text.getAttribute("textLength"));
  text.removeAttribute("textLength");
  const theirs = text.getComputedTextLength();
  const isAlike = Math.abs(ours - theirs) < 0.06 + 0.003 * ours;
  return isAlike ? [] : [`${text.lastChild.data}: ${ours}, ${theirs}`];
})"""
STATUSES: Final = """() => document.fonts.ready.then(fonts =>
  [...fonts].filter(font => font.status !== "unloaded").map(font => [font.family, font.status]))"""
