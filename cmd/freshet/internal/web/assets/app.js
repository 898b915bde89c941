// What pages do beyond links and forms: files dropped on an upload, sliders,
// printing, and a question before a change that is meant seriously.
(function () {
  'use strict';
  document.querySelectorAll('[data-drop]').forEach(function (form) {
    var input = form.querySelector('input[type=file]');
    ['dragenter', 'dragover'].forEach(function (name) {
      form.addEventListener(name, function (e) { e.preventDefault(); form.classList.add('over'); });
    });
    ['dragleave', 'drop'].forEach(function (name) {
      form.addEventListener(name, function (e) { e.preventDefault(); form.classList.remove('over'); });
    });
    form.addEventListener('drop', function (e) {
      if (e.dataTransfer.files.length) { input.files = e.dataTransfer.files; form.requestSubmit(); }
    });
  });
  // What makes a week: the slider chooses it, as does pointing at it in the
  // table, or in the chart, which says so by a 'week' event.
  document.querySelectorAll('[data-why]').forEach(function (why) {
    var slider = why.querySelector('[data-week]'), all = document.querySelectorAll('#why > p');
    function show(i) {
      all.forEach(function (p, k) { p.hidden = k !== i; });
      slider.value = i;
      slider.setAttribute('aria-valuetext', all[i].textContent);
    }
    slider.addEventListener('input', function () { show(+slider.value); });
    slider.form.addEventListener('submit', function (e) { e.preventDefault(); });
    document.querySelectorAll('[data-weeks] tr').forEach(function (row, i) {
      row.addEventListener('pointerenter', function () { show(i); });
      row.addEventListener('click', function () { show(i); });
    });
    document.addEventListener('week', function (e) {
      var i = all.length - e.detail.of + e.detail.at; // the chart leaves out a week that has begun
      if (e.target.dataset.chart === 'hours' && all[i]) { show(i); }
    });
    show(0);
  });
  // A slider says its value in words.
  document.querySelectorAll('[data-single]').forEach(function (slider) {
    var say = slider.dataset, value = slider.closest('label').querySelector('.value');
    slider.addEventListener('input', function () {
      var n = Math.abs(slider.value);
      value.textContent = n ? [n, n === 1 ? say.single : say.plural, slider.value > 0 ? say.up : say.down].join(' ') : say.none;
      slider.setAttribute('aria-valuetext', value.textContent);
    });
  });
  // Who asks by the button sees the answer, where it stands below the fields.
  document.addEventListener('submit', function (e) {
    var answer = e.target.getAttribute('hx-target');
    if (answer) { e.target.addEventListener('htmx:after:swap', function () { document.querySelector(answer).scrollIntoView({ block: 'nearest' }); }, { once: true }); }
  });
  document.addEventListener('click', function (e) {
    if (e.target.closest('[data-print]')) { print(); }
  });
  document.addEventListener('submit', function (e) {
    var ask = e.target.dataset.ask;
    if (ask && !confirm(ask)) { e.preventDefault(); }
  });
})();
