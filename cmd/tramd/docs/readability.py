#!/usr/bin/env python3
"""Prints how easily the README and the pages of the documentation read, and fails where one reads too hard.

Flesch reading ease (R. Flesch, "A new readability yardstick", Journal of Applied Psychology 32, 1948):
206.835 - 1.015 words per sentence - 84.6 syllables per word. Aim: 60 or more, and fewer than 16 words a sentence.
Code blocks, code between backquotes, tables and addresses are no sentences and are left out.
"""
import re
import sys

EASE, WORDS = 60, 16


def prose(text):
    out = []
    text = re.sub(r"\n(\s*)(\d+\.|-)\s+", r"\n\n", text)  # an item of a list stands by itself
    for block in re.split(r"\n\s*\n", text):
        lines = [l for l in block.splitlines() if not re.match(r"    |\t|\||#|<", l)]
        block = " ".join(l.strip() for l in lines if l.strip())
        items = re.split(r"(?<=[.!?:])\s+(?=[A-Z*])", block)
        out += [i for i in items if i.strip()]
    text = "\n".join(out)
    text = re.sub(r"`[^`]*`", "code", text)
    text = re.sub(r"\[([^\]]*)\]\([^)]*\)", r"\1", text)
    text = re.sub(r"<http[^>]*>", "address", text)
    return [s for s in text.split("\n") if re.search(r"[A-Za-z]", s)]


def syllables(word):
    w = re.sub(r"[^a-z]", "", word.lower())
    if not w:
        return 0
    n = len(re.findall(r"[aeiouy]+", w))
    if w.endswith("e") and not re.search(r"[^aeiouy]le$", w) and n > 1:
        n -= 1
    if re.search(r"[^td]ed$", w) and n > 1:
        n -= 1
    return max(1, n)


def figures(text):
    sentences = prose(text)
    words = [w for s in sentences for w in re.findall(r"[A-Za-z][A-Za-z'’-]*", s)]
    if not sentences or not words:
        return None
    long = len(words) / len(sentences)
    ease = 206.835 - 1.015 * long - 84.6 * sum(map(syllables, words)) / len(words)
    return ease, long


def main():
    bad = False
    for name in sys.argv[1:]:
        with open(name, encoding="utf-8") as f:
            got = figures(f.read())
        if got is None:
            continue
        ease, long = got
        hard = ease < EASE or long >= WORDS
        bad = bad or hard
        print(f"{name}: ease {ease:.0f}, {long:.1f} words a sentence{'  <- too hard' if hard else ''}")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
