(function () {
  "use strict";
  var list = document.getElementById("list");
  function reveal() {
    var at = location.hash && document.getElementById(location.hash.slice(1));
    if (at && at.tagName === "DETAILS") {
      at.hidden = false;
      at.open = true;
      at.scrollIntoView();
    }
  }
  addEventListener("hashchange", reveal);
  reveal();

  var tools = document.getElementById("tools");
  if (!tools) return;
  tools.hidden = false;
  tools.addEventListener("submit", function (e) { e.preventDefault(); });

  function text(d, c) { return d.querySelector("summary " + c).textContent; }
  function digits(s) { s = s.replace(/[^0-9]/g, ""); return s === "" ? -1 : Number(s); }
  function level(s) { var n = parseFloat(s); return isNaN(n) ? 1000 : n; }
  var all = Array.prototype.map.call(list.querySelectorAll("details.dev"), function (d, i) {
    return {
      el: d, rank: i, level: text(d, ".lv"), name: text(d, "strong"), place: text(d, ".nm .at"),
      low: level(text(d, ".lo")), pages: digits(text(d, ".pg")), words: d.textContent.toLowerCase()
    };
  });
  var compare = new Intl.Collator(undefined, { numeric: true }).compare;
  var orders = {
    rank: function () { return 0; },
    name: function (a, b) { return compare(a.name, b.name); },
    place: function (a, b) { return compare(a.place, b.place); },
    low: function (a, b) { return a.low - b.low; },
    pages: function (a, b) { return b.pages - a.pages; }
  };
  var find = document.getElementById("find"), order = document.getElementById("order");
  var shown = document.getElementById("shown"), open = document.getElementById("all");

  function filter() {
    var words = find.value.toLowerCase().split(/\s+/), levels = {}, n = 0;
    tools.querySelectorAll("[name=level]").forEach(function (box) { levels[box.value] = box.checked; });
    all.forEach(function (x) {
      var fits = levels[x.level] !== false && words.every(function (w) { return x.words.indexOf(w) >= 0; });
      x.el.hidden = !fits;
      if (fits) n++;
    });
    shown.textContent = n + " of " + all.length + " shown";
  }
  find.addEventListener("input", filter);
  tools.addEventListener("change", function (e) { if (e.target.name === "level") filter(); });
  order.addEventListener("change", function () {
    var by = orders[order.value], box = document.createDocumentFragment();
    all.slice().sort(function (a, b) { return by(a, b) || a.rank - b.rank; }).forEach(function (x) { box.appendChild(x.el); });
    list.appendChild(box);
  });
  open.addEventListener("click", function () {
    var to = open.textContent === "Open all";
    all.forEach(function (x) { if (!x.el.hidden) x.el.open = to; });
    open.textContent = to ? "Close all" : "Open all";
  });
  filter();
})();
