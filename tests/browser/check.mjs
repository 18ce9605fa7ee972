// Looks at HTML files in headless Chromium and says what it saw, as one JSON
// list on standard output:  node check.mjs CHROMIUM FOLDER FILE…
// PDFs as printed go into FOLDER.
import { readFileSync } from 'node:fs';
import { basename, join } from 'node:path';
import { createRequire } from 'node:module';
import { pathToFileURL } from 'node:url';
import puppeteer from 'puppeteer-core';

const [chromium, folder, ...files] = process.argv.slice(2);
const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
const WIDTHS = [360, 1100];

const browser = await puppeteer.launch({
  executablePath: chromium,
  headless: true,
  // Root, as in a container, has no sandbox; the files are our own.
  args: ['--no-sandbox', '--disable-gpu'],
});
const seen = [];
for (const file of files) {
  const url = pathToFileURL(file).href;
  const page = await browser.newPage();
  const asked = [];
  const said = [];
  page.on('request', request => asked.push(request.url()));
  page.on('pageerror', error => said.push(String(error)));
  page.on('console', message => said.push(message.text()));
  page.on('dialog', dialog => { said.push(dialog.message()); dialog.dismiss(); });
  await page.setViewport({ width: 360, height: 740 });
  await page.goto(url, { waitUntil: 'load' });
  const one = await page.evaluate(() => {
    const named = svg => {
      const ids = (svg.getAttribute('aria-labelledby') ?? '').split(' ').filter(Boolean);
      const texts = ids.map(id => document.getElementById(id)?.textContent ?? '');
      return [svg.getAttribute('aria-label') ?? '', ...texts].join(' ').trim();
    };
    const drawings = [...document.querySelectorAll('svg')];
    const faces = drawings.filter(svg => svg.closest('.face'));
    return {
      title: document.title,
      lang: document.documentElement.lang,
      elements: document.querySelectorAll('*').length,
      scripts: document.scripts.length,
      handlers: [...document.querySelectorAll('*')]
        .flatMap(it => [...it.attributes].map(a => a.name)).filter(name => name.startsWith('on')),
      drawings: drawings.length,
      unnamed: drawings.filter(svg => svg.getAttribute('role') !== 'img' || !named(svg)).length,
      // Every cavity number that is drawn is in the words as well.
      unsaid: faces.flatMap(svg => [...svg.querySelectorAll('.number')]
        .map(text => text.textContent)
        .filter(number => !new RegExp(`(^|\\D)${number}(\\D|$)`).test(named(svg)))),
      ids: [...document.querySelectorAll('[id]')].map(it => it.id),
      broken: [...document.querySelectorAll('a[href^="#"]')]
        .map(a => a.getAttribute('href').slice(1)).filter(id => !document.getElementById(id)),
    };
  });
  one.file = basename(file);
  // Sideways: the page never, a drawing only within itself.
  one.overflow = {};
  for (const width of WIDTHS) {
    await page.setViewport({ width, height: 740 });
    one.overflow[width] = await page.evaluate(() => {
      const room = document.documentElement.clientWidth;
      const out = [...document.querySelectorAll('body *')].filter(it => {
        if (it.closest('.hidden, .skip, .face svg, .scroll > *')) return false;
        const box = it.getBoundingClientRect();
        return box.width > 0 && (box.right > room + 1 || box.left < -1);
      });
      return {
        page: document.documentElement.scrollWidth - room,
        elements: out.map(it => it.tagName + '.' + it.className).slice(0, 5),
      };
    });
  }
  // By keyboard: the first stop is the way to the content, and every stop shows.
  await page.setViewport({ width: 360, height: 740 });
  one.stops = [];
  for (let at = 0; at < 60; at += 1) {
    await page.keyboard.press('Tab');
    const stop = await page.evaluate(() => {
      const it = document.activeElement;
      if (!it || it === document.body) return null;
      const box = it.getBoundingClientRect();
      const style = getComputedStyle(it);
      return {
        what: it.tagName.toLowerCase(),
        text: (it.getAttribute('aria-label') ?? it.textContent).trim().slice(0, 40),
        shows: box.width > 0 && box.height > 0 && box.left >= 0
          && style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2,
      };
    });
    if (!stop) break;
    one.stops.push(stop);
  }
  // A photo is in the file itself.
  one.asked = asked.filter(it => it !== url && !it.startsWith('data:image/'));
  one.said = said;
  // axe is put in past the page's own policy, which lets no script run.
  await page.setBypassCSP(true);
  one.violations = [];
  for (const width of WIDTHS) {
    await page.setViewport({ width, height: 740 });
    await page.reload({ waitUntil: 'load' });
    await page.evaluate(() => document.querySelectorAll('details').forEach(it => { it.open = true; }));
    await page.evaluate(axe);
    const found = await page.evaluate(() => window.axe.run(document));
    one.checked = found.passes.length;
    one.violations.push(...found.violations.map(it =>
      `${width}: ${it.id}: ${it.nodes.map(node => node.html.slice(0, 120)).slice(0, 3).join(' | ')}`));
  }
  // On paper.
  await page.reload({ waitUntil: 'load' });
  await page.emulateMediaType('print');
  await page.setViewport({ width: 703, height: 1032 }); // 186 mm by 273 mm at 96 a inch
  one.paper = await page.evaluate(() => {
    const kept = [...document.querySelectorAll(
      '.face, .card, .place, tr, .verdict, .cautions, .signature')];
    return {
      wide: document.documentElement.scrollWidth - document.documentElement.clientWidth,
      parts: kept.length,
      torn: kept.filter(it => it.getClientRects().length > 0
        && getComputedStyle(it).breakInside !== 'avoid' && !it.closest('.connector, .card'))
        .map(it => it.className || it.tagName),
      tall: kept.filter(it => it.getBoundingClientRect().height > 1032)
        .map(it => `${it.className || it.tagName} ${it.getBoundingClientRect().height}`),
    };
  });
  await page.pdf({
    path: join(folder, `${basename(file, '.html')}.pdf`),
    preferCSSPageSize: true,
    printBackground: true,
  });
  seen.push(one);
  await page.close();
}
await browser.close();
process.stdout.write(JSON.stringify(seen));
