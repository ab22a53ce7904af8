// The texts of the page, by key, from the catalogue in the reader's language.
import words from './texts.js';

// t returns a text; {name} in it is replaced by the value of that name.
export function t(key, values = {}) {
  return (words[key] ?? key).replace(/\{(\w+)\}/g, (whole, name) => values[name] ?? whole);
}

const rules = new Intl.PluralRules(document.documentElement.lang || 'en');

// many returns the text for so many: key.one, key.other, as the language counts.
export const many = (key, n, values = {}) => t(`${key}.${rules.select(n) in forms ? rules.select(n) : 'other'}`, { n: n.toLocaleString(document.documentElement.lang), ...values });
const forms = { one: 1, other: 1 };

export const has = (key) => key in words;

// named returns the words for one of a kind of names, or the name as it is where the catalogue does not know it.
export const named = (kind, name, tail = '') => (has(`${kind}.${name}${tail}`) ? t(`${kind}.${name}${tail}`) : String(name));
