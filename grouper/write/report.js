"use strict";
// The page is complete without this: it adds zoom, filters, copying, and a larger view.
(() => {
  const all = (what, within = document) => [...within.querySelectorAll(what)];
  const make = (tag, text, className) => {
    const made = document.createElement(tag);
    if (text) made.textContent = text;
    if (className) made.className = className;
    return made;
  };
  const button = (text, act) => {
    const made = make("button", text);
    made.type = "button";
    made.addEventListener("click", act);
    return made;
  };

  // --- The time line: wider, and only some of the sets ---
  const controls = document.getElementById("controls");
  const line = document.getElementById("timeline");
  const sets = all("article.set");
  if (controls && line) {
    controls.hidden = false;
    const zoom = document.getElementById("zoom");
    const widen = () => {
      const box = line.parentElement;
      const middle = (box.scrollLeft + box.clientWidth / 2) / box.scrollWidth;
      const times = 2 ** Number(zoom.value);
      line.setAttribute("width", `${100 * times}%`);
      line.setAttribute("class", `time w${times}`);
      zoom.setAttribute("aria-valuetext", `${times} times`);
      box.scrollLeft = middle * box.scrollWidth - box.clientWidth / 2;
    };
    zoom.addEventListener("input", widen);
    widen();
    const filters = all("[data-filter]", controls);
    const filter = () => {
      const off = filters.filter((box) => !box.checked);
      const hides = (part) => off.some((box) => part.dataset[box.dataset.filter] === box.value);
      let shown = 0;
      for (const set of sets) {
        set.hidden = hides(set);
        shown += set.hidden ? 0 : 1;
      }
      for (const part of all(".block, .stroke", line)) part.classList.toggle("off", hides(part));
      document.getElementById("shown").textContent =
        off.length ? `${shown} of ${sets.length} sets shown` : "";
    };
    for (const box of filters) box.addEventListener("change", filter);
    filter();
    // A link to a set that is filtered away brings all sets back.
    const reveal = () => {
      const target = document.getElementById(decodeURIComponent(location.hash.slice(1)));
      if (target && target.closest("[hidden]")) {
        for (const box of filters) box.checked = true;
        filter();
        target.scrollIntoView();
      }
    };
    window.addEventListener("hashchange", reveal);
  }

  // --- Paths to copy ---
  const here = location.protocol === "file:"
    ? decodeURIComponent(location.pathname).replace(/[^/]*$/, "") : "";
  const copy = async (text, code, told) => {
    try {
      await navigator.clipboard.writeText(text);
    } catch {
      getSelection().selectAllChildren(code);
      if (!document.execCommand("copy")) return;
    }
    told.textContent = "copied";
    setTimeout(() => { told.textContent = "copy"; }, 1500);
  };
  for (const code of all("code.path")) {
    const path = here + code.textContent;
    const act = button("copy", () => copy(path, code, act));
    act.title = path;
    act.setAttribute("aria-label", `copy ${path}`);
    act.setAttribute("aria-live", "polite");
    code.closest("a").after(act);
  }

  // --- The larger view ---
  const look = make("dialog");
  look.setAttribute("aria-labelledby", "look-title");
  const title = make("h2");
  title.id = "look-title";
  const large = make("div", "", "large");
  const facts = make("dl");
  const keys = make("div", "", "keys");
  let group = [];
  let at = 0;

  const pictureOf = (shot) => {
    const found = shot.querySelector("img, image");
    return found && (found.getAttribute("src") || found.getAttribute("href"));
  };
  const wordsOf = (shot) =>
    shot.getAttribute("aria-label") || (shot.querySelector("img") || {}).alt ||
    (shot.querySelector("[aria-label]") || shot).getAttribute("aria-label") || "";
  const factsOf = (shot) => {
    const row = document.getElementById(shot.dataset.frame);
    if (!row) return [];
    if (row.tagName !== "TR") {
      return all("figcaption span", row).map((part) => ["", part.textContent]);
    }
    const heads = all("thead th", row.closest("table")).map((head) => head.textContent);
    return [...row.cells].slice(1).map((cell, index) => [
      heads[index + 1], cell.textContent, cell.classList.contains("differs"),
    ]);
  };
  const linkOf = (shot) => {
    const row = document.getElementById(shot.dataset.frame);
    const link = row && row.querySelector("a[href^='file:']");
    return link && link.getAttribute("href");
  };

  const show = () => {
    const shot = group[at];
    title.textContent = wordsOf(shot);
    large.replaceChildren();
    const source = pictureOf(shot);
    if (source) {
      const picture = make("img");
      picture.src = source;
      picture.alt = title.textContent;
      large.append(picture);
    } else {
      large.append(make("p", "No picture of this frame can be read."));
    }
    facts.replaceChildren(...factsOf(shot).map(([name, value, odd]) => {
      const pair = make("div");
      pair.append(make("dt", name), make("dd", value, odd ? "differs" : ""));
      return pair;
    }));
    const address = linkOf(shot);
    original.hidden = !address;
    if (address) original.href = address;
    place.textContent = `${at + 1} of ${group.length}`;
  };
  const move = (by) => {
    at = (at + by + group.length) % group.length;
    show();
  };
  const original = make("a", "open the photograph itself");
  const place = make("span");
  place.setAttribute("role", "status");
  keys.append(
    button("← before", () => move(-1)), button("after →", () => move(1)), place, original,
    button("close (Esc)", () => look.close()),
  );
  look.append(title, large, facts, keys,
    make("p", "Enlarged from the small picture; sharpness is judged in the photograph itself.", "faint"));
  document.body.append(look);

  look.addEventListener("keydown", (event) => {
    const by = { ArrowLeft: -1, ArrowUp: -1, ArrowRight: 1, ArrowDown: 1 }[event.key];
    if (by) {
      event.preventDefault();
      move(by);
    } else if (event.key === "Home" || event.key === "End") {
      event.preventDefault();
      at = event.key === "Home" ? 0 : group.length - 1;
      show();
    }
  });
  look.addEventListener("click", (event) => { if (event.target === look) look.close(); });
  look.addEventListener("close", () => group[at].focus());

  document.addEventListener("click", (event) => {
    const shot = event.target.closest("a.shot");
    if (!shot || event.ctrlKey || event.metaKey || event.shiftKey || event.button) return;
    event.preventDefault();
    group = all("a.shot", shot.closest("article, section"));
    at = group.indexOf(shot);
    show();
    look.showModal();
  });
})();
