// What the program itself says, in the reader's language: its English sentences are forms with numbered blanks in the catalogue. The
// same is done for the printed sheets by the package catalogue, in said.go.
import words, { translations } from './texts.js';

const blank = /\{#?\d+\}|\bmm\/m\b|\bmm\b/g;
const separators = ['\n', '. ', '; ', ': ', ', ', ' (', ') ', ')', ' · '];
const quoted = (text) => text.replace(/[.*+?^${}()|[\]\\/]/g, '\\$&');
const over = ['unit.mmover', 'unit.inover'].map((key) => quoted(words[key] ?? '').replace('\\{span\\}', '[0-9.]+ ?\\w+')).join('|');
const leanUnits = `(mm/m|arcsec|mrad|${quoted(words['unit.thou'] ?? '')}|${over})`;
const figures = '([+−-]?[0-9][0-9.,e+-]*|NaN|–)';
const letters = /\p{L}/u;

// formOf makes a form ready: a pattern for the sentence, and the longest piece of its words, which a sentence of it must have.
function formOf([english, translation]) {
  const bare = english.replace(/\.$/, '');
  const value = blankOf(bare);
  const f = { translation: translation.replace(/\.$/, ''), longest: '', words: 0, blanks: [] };
  let pattern = '';
  let from = 0;
  const literal = (piece) => {
    let body = piece;
    f.words += piece.length;
    if (from === 0 && piece) { // it may begin a sentence or stand inside of one
      const [first] = piece;
      pattern += first.toLowerCase() === first.toUpperCase() ? quoted(first) : `[${first.toLowerCase()}${first.toUpperCase()}]`;
      body = piece.slice(first.length);
    }
    pattern += quoted(body);
    if (body.length > f.longest.length) f.longest = body;
  };
  for (const m of bare.matchAll(blank)) {
    literal(bare.slice(from, m.index));
    from = m.index + m[0].length;
    f.blanks.push(m[0]);
    pattern += m[0] === 'mm/m' ? leanUnits : m[0] === 'mm' ? '(mm|in)' : m[0][1] === '#' ? figures : value;
  }
  literal(bare.slice(from));
  f.pattern = `^${pattern}$`;
  return f;
}

// blankOf returns what may stand in a form's blanks. A form of few words of its own would fit too much: "{1} to {2}".
function blankOf(english) {
  const count = (text) => [...text].filter((c) => letters.test(c)).length;
  if (count(english.replace(blank, '')) >= 12) return '(.*?)';
  return count(english.split('{')[0]) >= 4 ? '((?:[^;:]|:\\d)*?)' : '(\\S+?)';
}

const forms = Object.entries(translations).map(formOf).sort((a, b) => b.words - a.words);
const cache = new Map();

// say returns a text of the program in the reader's language. What the catalogue does not know stays as it is.
export function say(text) {
  if (!forms.length || !text) return text;
  if (!cache.has(text)) {
    if (cache.size > 500) cache.clear();
    cache.set(text, parted(String(text)));
  }
  return cache.get(text);
}

// parted translates a text of several sentences piece by piece.
function parted(text) {
  if (!letters.test(text)) return text;
  const inner = text.trim();
  if (inner !== text) return text.replace(inner, () => parted(inner));
  const end = text.search(/[.?!] +[A-Z0-9]/);
  if (end >= 0) { // a form ends where its sentence ends
    const [gap] = / +/.exec(text.slice(end));
    return parted(text.slice(0, end + 1)) + gap + parted(text.slice(end + 1 + gap.length));
  }
  let best = known(text) ?? [0, '']; // split it where a larger piece is one sentence of the catalogue
  for (const separator of separators) {
    for (let at = text.indexOf(separator); at >= 0; at = text.indexOf(separator, at + separator.length)) {
      const [left, right] = [text.slice(0, at), text.slice(at + separator.length)];
      const [first, last] = [known(left), known(right)];
      if (first && first[0] > best[0]) best = [first[0], first[1] + separator + parted(right)];
      if (last && last[0] > best[0]) best = [last[0], parted(left) + separator + last[1]];
    }
  }
  if (best[0] > 0) return best[1];
  for (const separator of separators) {
    const at = text.indexOf(separator);
    if (at >= 0) return parted(text.slice(0, at)) + separator + parted(text.slice(at + separator.length));
  }
  return text;
}

// known returns how much of a text is the fixed words of one sentence of the catalogue, and its translation; null: it is none.
function known(text) {
  const bare = text.replace(/[.:]+$/, '');
  for (const f of forms) {
    if (!bare.includes(f.longest)) continue;
    f.compiled ??= new RegExp(f.pattern, 's');
    const m = f.compiled.exec(bare);
    if (m) return [f.words, likeCase(fill(f, m.slice(1)), bare) + text.slice(bare.length)];
  }
  return null;
}

// fill puts the values into the translation's blanks; a value may be words of the catalogue itself. Units go in in their order.
function fill(f, values) {
  let next = 0;
  return f.translation.replace(blank, (name) => {
    const i = name.startsWith('{') ? f.blanks.indexOf(name) : f.blanks.indexOf(name, next);
    if (i < 0) return name;
    if (name.startsWith('{')) return parted(values[i]);
    next = i + 1;
    return values[i];
  });
}

// likeCase begins a translation with a capital where the text did.
function likeCase(out, text) {
  const [first, mine] = [[...text][0] ?? '', [...out][0] ?? ''];
  return first !== first.toLowerCase() && mine === mine.toLowerCase() ? mine.toUpperCase() + out.slice(mine.length) : out;
}
