// What pages do beyond links and forms: files dropped on an upload, printing,
// and a question before a change that is meant seriously.
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
  document.addEventListener('click', function (e) {
    if (e.target.closest('[data-print]')) { print(); }
  });
  document.addEventListener('submit', function (e) {
    var ask = e.target.dataset.ask;
    if (ask && !confirm(ask)) { e.preventDefault(); }
  });
})();
