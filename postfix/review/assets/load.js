// Figures and scripts that lie beside the page. A page opened from disk cannot read files, but it can run scripts; each
// of them hands its figures over with postfix.give.
"use strict";
window.postfix = (() => {
  const given = new Map();
  const asked = new Map();

  function script(src, isUrgent = false) {
    if (!asked.has(src)) {
      asked.set(src, new Promise((resolve, reject) => {
        const element = document.createElement("script");
        element.src = src;
        element.async = true;
        if (isUrgent) element.fetchPriority = "high";
        element.onload = () => resolve();
        element.onerror = () => {
          asked.delete(src);
          reject(new Error(`${src} is not there; keep the folder beside the page`));
        };
        document.head.append(element);
      }));
    }
    return asked.get(src);
  }

  return {
    // Called by the scripts beside the page.
    give(key, data) { given.set(key, data); },
    // A promise of what the script at src gives under key.
    async load(key, src, isUrgent = false) {
      if (!given.has(key)) await script(src, isUrgent);
      if (!given.has(key)) throw new Error(`${src} holds nothing named ${key}`);
      return given.get(key);
    },
    // A promise that the script at src has run.
    script,
  };
})();
