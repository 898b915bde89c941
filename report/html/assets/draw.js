// Draws each chart from the option JSON that stands beside it, again when the
// window or the color scheme changes, and before printing.
(function () {
  'use strict';
  var dark = matchMedia('(prefers-color-scheme: dark)');
  var drawn = [];
  var family = getComputedStyle(document.body).fontFamily; // spelled out, so that widths can be measured
  function draw(printing) {
    drawn.forEach(function (c) { c.dispose(); });
    drawn = [];
    document.querySelectorAll('[data-chart]').forEach(function (el) {
      var o = JSON.parse(document.getElementById(el.dataset.chart).textContent);
      var night = dark.matches && !printing;
      var text = night ? '#d9d4c7' : '#3b382f';
      var lines = night ? '#4a463b' : '#ddd7c8';
      if (el.clientWidth < 560) { [].concat(o.grid).forEach(function (g) { g.top = '112'; }); } // the legend takes more lines
      o.backgroundColor = 'transparent';
      o.textStyle = { fontFamily: family, fontSize: 15, color: text };
      [].concat(o.legend || []).forEach(function (l) { l.textStyle = { color: text, fontSize: 15, fontFamily: family }; l.width = '100%'; });
      [].concat(o.xAxis).forEach(function (a) { a.axisLabel = Object.assign({}, a.axisLabel, { color: text, fontSize: 14 }); a.axisLine = { lineStyle: { color: lines } }; });
      [].concat(o.yAxis).forEach(function (a) {
        a.axisLabel = Object.assign({}, a.axisLabel, { color: text, fontSize: 14 });
        a.nameTextStyle = { color: text, fontSize: 14, align: 'left', padding: [0, 0, 0, -36] };
        a.splitLine = { lineStyle: { color: lines } };
      });
      var c = echarts.init(el, null, { renderer: 'svg' });
      c.setOption(o);
      c.on('updateAxisPointer', function (e) { // pages may say more of the week pointed at
        var axis = (e.axesInfo || [])[0];
        if (axis) { el.dispatchEvent(new CustomEvent('week', { bubbles: true, detail: { at: axis.value, of: [].concat(o.xAxis)[0].data.length } })); }
      });
      drawn.push(c);
    });
  }
  draw(false);
  dark.addEventListener('change', function () { draw(false); });
  addEventListener('resize', function () { drawn.forEach(function (c) { c.resize(); }); });
  document.addEventListener('htmx:after:swap', function () { draw(false); });
  addEventListener('beforeprint', function () { draw(true); });
  addEventListener('afterprint', function () { draw(false); });
})();
