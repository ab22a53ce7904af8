// Begins the page's program once the page is painted: its own words and figures stand there before the program is fetched.
const names = document.currentScript.dataset.modules.split(' ');
let begun = false;

function begin() {
  if (begun) return;
  begun = true;
  for (const name of names) {
    const link = document.createElement('link');
    link.rel = 'modulepreload';
    link.href = `/assets/${name}`;
    document.head.append(link);
  }
  import('./main.js');
}

// A page in the background is never painted, and begins all the same.
setTimeout(begin, document.hidden ? 0 : 1000);
requestAnimationFrame(() => setTimeout(begin));
