"""page.py FOLDER [AXE] - every FOLDER/*.html in headless Chromium: as a reader on a screen, on a telephone, on
paper (A4 and Letter) and without colours sees it. Leaves screenshots and PDFs in FOLDER. Prints "N passed, N failed".

What is asked: no word in the console and nothing loaded; headings, language, title, text of pictures, a
table beneath each chart, contrast 4.5 to 1 of computed colours (WCAG 2.2, SC 1.1.1, 1.3.1, 1.4.3, 1.4.10, 2.4.2,
2.4.6, 3.1.1; from memory), all that axe-core knows of WCAG A and AA; no text over another or cut off; on paper all words
that are on the page, inside its margins; bars of a legend that differ in grey.
"""
import asyncio
import base64
import glob
import io
import json
import os
import re
import subprocess
import sys
import tempfile
import urllib.request

import websockets
from PIL import Image, ImageStat

FOLDER = sys.argv[1]
AXE = sys.argv[2] if len(sys.argv) > 2 else ""
PAPERS = {"a4": (8.27, 11.69), "letter": (8.5, 11)}  # inches
PAGES_MOST = 30
passed = failed = 0

LOOK = r"""
(() => {
  const wrong = [];
  const all = s => [...document.querySelectorAll(s)];
  const seen = e => { const b = e.getBoundingClientRect(), s = getComputedStyle(e);
    return b.width > 0 && b.height > 0 && s.visibility === 'visible'; };
  const colour = text => { const n = text.match(/[\d.]+/g).map(Number); return n.length > 3 ? n : [...n, 1]; };
  const light = ([r, g, b]) => { const f = [r, g, b].map(v => v / 255).map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    return 0.2126 * f[0] + 0.7152 * f[1] + 0.0722 * f[2]; };
  const over = (top, under) => top.slice(0, 3).map((v, i) => v * top[3] + under[i] * (1 - top[3]));
  const ground = e => { const layers = [];
    for (let n = e; n; n = n.parentElement) { const c = colour(getComputedStyle(n).backgroundColor); layers.push(c); if (c[3] === 1) break; }
    return layers.reverse().reduce((under, c) => over(c, under), [255, 255, 255]); };
  // What a letter of a picture stands on: the last bar before it that holds its middle; of a pattern, all its colours.
  const stands = (t, svg) => { const b = t.getBoundingClientRect(), x = (b.left + b.right) / 2, y = (b.top + b.bottom) / 2;
    let found = [ground(svg)];
    for (const r of svg.querySelectorAll('rect')) { if (t.compareDocumentPosition(r) & Node.DOCUMENT_POSITION_FOLLOWING) break;
      const o = r.getBoundingClientRect(), fill = getComputedStyle(r).fill;
      if (x < o.left || x > o.right || y < o.top || y > o.bottom || fill === 'none') continue;
      const url = fill.match(/#([\w-]+)/);
      found = !fill.startsWith('url') ? [over(colour(fill), found[0])]
        : [...document.getElementById(url[1]).querySelectorAll('*')].map(e => getComputedStyle(e)).flatMap(c => [c.fill, c.stroke])
          .filter(c => c.startsWith('rgb')).map(c => over(colour(c), found[0])); }
    return found; };
  const words = e => [...e.childNodes].filter(n => n.nodeType === 3 && n.data.trim()).map(n => n.data.trim()).join(' ');

  if (document.documentElement.lang !== 'en') wrong.push('no language');
  if (!document.title.trim()) wrong.push('no title');
  const levels = all('h1,h2,h3,h4,h5,h6').map(h => +h.tagName[1]);
  if (levels[0] !== 1 || levels.filter(l => l === 1).length !== 1) wrong.push('first heading ' + levels);
  levels.forEach((l, i) => { if (i && l > levels[i - 1] + 1) wrong.push('a heading skips a level: ' + all('h1,h2,h3,h4')[i].innerText); });
  all('h1,h2,h3,h4,th,caption').forEach(e => { if (!e.innerText.trim()) wrong.push('an empty ' + e.tagName); });

  let least = 99;
  all('body *').forEach(e => { const text = words(e);
    if (!text || !seen(e) || ['STYLE', 'TITLE', 'DESC', 'title', 'desc'].includes(e.tagName)) return;
    const svg = e.closest('svg'), s = getComputedStyle(e);
    const ratio = Math.min(...(svg ? stands(e, svg) : [ground(e)]).map(back => {
      const a = light(over(colour(svg ? s.fill : s.color), back)), b = light(back);
      return (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05); }));
    least = Math.min(least, ratio);
    const points = parseFloat(s.fontSize) * (svg ? e.getScreenCTM().a : 1);
    if (points < 9) wrong.push('letters of ' + points.toFixed(1) + ' px: ' + text.slice(0, 40));
    if (ratio < 4.5) wrong.push('contrast ' + ratio.toFixed(2) + ': ' + text.slice(0, 40)); });

  const pictures = all('svg').filter(s => s.getAttribute('aria-hidden') !== 'true');
  pictures.forEach(svg => { const id = svg.querySelector('title') ? svg.querySelector('title').textContent : '?';
    const by = (svg.getAttribute('aria-labelledby') || '').split(' ').map(i => document.getElementById(i));
    if (svg.getAttribute('role') !== 'img' || by.length < 1 || by.some(n => !n || !n.textContent.trim())) wrong.push('a picture without words: ' + id);
    const box = svg.getBoundingClientRect();
    const below = all('table').filter(t => t.getBoundingClientRect().top >= box.bottom - 1 && t.closest('section') === svg.closest('section'));
    if (!below.length) wrong.push('no table beneath ' + id);
    const texts = [...svg.querySelectorAll('text')].map(t => [t.textContent, t.getBoundingClientRect()]);
    texts.forEach(([text, b], i) => {
      if (b.left < box.left - 1 || b.right > box.right + 1 || b.top < box.top - 1 || b.bottom > box.bottom + 1) wrong.push('cut off in ' + id + ': ' + text);
      texts.slice(0, i).forEach(([other, o]) => { if (b.left < o.right - 0.5 && o.left < b.right - 0.5 && b.top < o.bottom - 3 && o.top < b.bottom - 3)
        wrong.push('one over the other in ' + id + ': ' + other + ' | ' + text); }); }); });

  const room = document.documentElement.clientWidth;
  if (document.documentElement.scrollWidth > room) wrong.push('wider than the window: ' + document.documentElement.scrollWidth + ' of ' + room);
  all('body *').forEach(e => { const s = getComputedStyle(e);
    if (['hidden', 'clip'].includes(s.overflowX) && e.scrollWidth > e.clientWidth + 1 && !e.closest('svg')) wrong.push('hides its end: ' + e.tagName); });
  const scrolled = all('.wide').filter(e => e.scrollWidth > e.clientWidth + 1).map(e => e.querySelector('caption').innerText);
  all('td,th').forEach(e => { if (e.scrollWidth > e.clientWidth + 1) wrong.push('a cell too narrow for ' + e.innerText.slice(0, 30)); });
  return JSON.stringify({wrong, least, scrolled, pictures: pictures.length,
    text: [...all('h1,h2,h3,td,th,li,dd,dt,p,caption')].map(e => e.innerText), labels: all('svg text').map(t => t.textContent)});
})()
"""

LEGENDS = r"""
JSON.stringify([...document.querySelectorAll('svg[role=img]')].map(svg => { const texts = [...svg.querySelectorAll('text')];
  return [...svg.querySelectorAll('rect')].filter(r => r.getAttribute('width') === '20' && r.getAttribute('height') === '11').map(r => {
    const b = r.getBoundingClientRect(); return [b.left + scrollX, b.top + scrollY, b.width, b.height]; }); }))
"""


def it(words, fine, more=""):
    global passed, failed
    passed, failed = passed + bool(fine), failed + (not fine)
    if not fine:
        print("not ok: %s%s" % (words, ": %s" % (more,) if more else ""), flush=True)


class Browser:
    """One tab of one Chromium, over its own protocol on loopback."""

    async def __aenter__(self):
        self.home = tempfile.TemporaryDirectory(prefix="knockbox-chromium-")
        self.log = open(os.path.join(self.home.name, "log"), "wb")
        self.process = subprocess.Popen(
            ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--no-first-run",
             "--disable-background-networking", "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage",
             "--remote-debugging-port=0", "--user-data-dir=" + self.home.name, "about:blank"],
            stdin=subprocess.DEVNULL, stdout=self.log, stderr=self.log)
        port = os.path.join(self.home.name, "DevToolsActivePort")
        for _ in range(600):
            if os.path.exists(port) and open(port).read().count("\n") >= 1:
                break
            await asyncio.sleep(0.1)
        number = open(port).read().split("\n")[0]
        for _ in range(100):
            tabs = [t for t in json.load(urllib.request.urlopen("http://127.0.0.1:%s/json" % number)) if t["type"] == "page"]
            if tabs:
                break
            await asyncio.sleep(0.1)
        self.line = await websockets.connect(tabs[0]["webSocketDebuggerUrl"], max_size=None)
        self.n, self.events, self.came = 0, [], asyncio.Event()
        for domain in ("Page", "Runtime", "Log", "Network"):
            await self.say(domain + ".enable")
        return self

    async def __aexit__(self, *_):
        await self.line.close()
        self.process.terminate()
        self.process.wait(30)
        self.log.close()
        self.home.cleanup()

    async def say(self, method, **params):
        self.n += 1
        await self.line.send(json.dumps({"id": self.n, "method": method, "params": params}))
        while True:
            message = json.loads(await asyncio.wait_for(self.line.recv(), 120))
            if message.get("id") == self.n:
                if "error" in message:
                    raise RuntimeError("%s: %s" % (method, message["error"]))
                return message["result"]
            self.events.append(message)

    async def value(self, script, wait=False):
        out = await self.say("Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=wait)
        if "exceptionDetails" in out:
            raise RuntimeError(str(out["exceptionDetails"])[:500])
        return out["result"].get("value")

    async def open(self, path):
        self.events.clear()
        await self.say("Page.navigate", url="file://" + path)
        while not any(e.get("method") == "Page.loadEventFired" for e in self.events):
            self.events.append(json.loads(await asyncio.wait_for(self.line.recv(), 60)))
        await self.value("document.fonts.ready.then(() => 1)", wait=True)

    async def width(self, width, height=900, mobile=False):
        await self.say("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=mobile)

    async def picture(self, path=None):
        out = await self.say("Page.captureScreenshot", captureBeyondViewport=True, format="png")
        data = base64.b64decode(out["data"])
        if path:
            with open(path, "wb") as f:
                f.write(data)
        return Image.open(io.BytesIO(data)).convert("RGB")


def spoken(events):
    """What the console said, and what was asked of any server."""
    said = [e["params"] for e in events if e.get("method") in ("Log.entryAdded", "Runtime.exceptionThrown", "Runtime.consoleAPICalled")]
    asked = [e["params"]["request"]["url"] for e in events if e.get("method") == "Network.requestWillBeSent"]
    return said, [u for u in asked if not u.startswith("file://")] + asked[1:]


def squeezed(text):
    return re.sub(r"\s+", "", text)


def check_paper(name, paper, path, page, margin_mm):
    """All words of the page are in the PDF, inside the margins, on not too many leaves."""
    text = squeezed(subprocess.run(["pdftotext", "-raw", path, "-"], capture_output=True, check=True).stdout.decode())
    lost = [w for t in page["text"] + page["labels"] for w in t.split() if squeezed(w) not in text]
    it("%s on %s: every word is on paper" % (name, paper), not lost, lost[:8])
    boxes = subprocess.run(["pdftotext", "-bbox", path, "-"], capture_output=True, check=True).stdout.decode()
    leaves = re.findall(r'<page width="([\d.]+)" height="([\d.]+)">(.*?)</page>', boxes, re.S)
    it("%s on %s: 1 to %d leaves" % (name, paper, PAGES_MOST), 1 <= len(leaves) <= PAGES_MOST, len(leaves))
    edge = margin_mm * 72 / 25.4 - 1
    out = []
    for width, height, words in leaves:
        for x0, y0, x1, y1, word in re.findall(r'xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">(.*?)<', words):
            if float(x0) < edge or float(x1) > float(width) - edge or float(y0) < edge - 3 or float(y1) > float(height) - edge + 3:
                out.append(word)
    it("%s on %s: inside the margins" % (name, paper), not out, out[:8])
    it("%s on %s: no leaf is empty" % (name, paper), all("<word" in words for _, _, words in leaves))
    return len(leaves)


async def check_axe(browser, name):
    with open(AXE, encoding="utf-8") as f:
        await browser.value(f.read() + "\n;1")
    found = json.loads(await browser.value(
        "axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']})"
        ".then(r => JSON.stringify(r.violations.map(v => [v.id, v.help, v.nodes.length, v.nodes[0].html.slice(0, 120)])))", wait=True))
    it("%s: axe-core finds nothing" % name, not found, found[:4])


async def check_grey(browser, name):
    """The bars of each legend differ without colour: in grey or in pattern."""
    await browser.say("Emulation.setEmulatedVisionDeficiency", type="achromatopsia")
    image = await browser.picture()
    for boxes in json.loads(await browser.value(LEGENDS)):
        looks = []
        for x, y, w, h in boxes:
            part = ImageStat.Stat(image.crop((round(x) + 1, round(y) + 1, round(x + w) - 1, round(y + h) - 1)).convert("L"))
            looks.append((part.mean[0], part.stddev[0]))
        close = [(a, b) for i, a in enumerate(looks) for b in looks[:i] if abs(a[0] - b[0]) < 20 and abs(a[1] - b[1]) < 20]
        it("%s: a legend in grey" % name, not close, close)
    await browser.say("Emulation.setEmulatedVisionDeficiency", type="none")


async def check(browser, path):
    name = os.path.basename(path)[:-5]
    stem = path[:-5]
    await browser.width(1280)
    await browser.open(path)
    said, asked = spoken(browser.events)
    it("%s: nothing in the console" % name, not said, said[:2])
    it("%s: nothing is loaded" % name, not asked, asked[:3])
    page = json.loads(await browser.value(LOOK))
    it("%s: as it should be on a screen" % name, not page["wrong"], page["wrong"][:6])
    it("%s: no table is cut at 1280" % name, not page["scrolled"], page["scrolled"])
    await browser.picture(stem + ".png")
    await check_grey(browser, name)
    if AXE:
        await check_axe(browser, name)
    await browser.width(360, 800, True)
    small = json.loads(await browser.value(LOOK))
    it("%s: on a telephone" % name, not small["wrong"], small["wrong"][:6])
    await browser.picture(stem + ".small.png")
    await browser.say("Emulation.clearDeviceMetricsOverride")
    leaves = {}
    with open(path, encoding="utf-8") as f:
        rule = re.search(r"@page\{(.*?)margin:(\d+)mm\}", f.read())
    own_size = "size:" in rule.group(1)  # such a page is made smaller for another paper, its margins too
    for paper, (width, height) in PAPERS.items():
        out = await browser.say("Page.printToPDF", paperWidth=width, paperHeight=height, printBackground=True, preferCSSPageSize=False)
        with open("%s.%s.pdf" % (stem, paper), "wb") as f:
            f.write(base64.b64decode(out["data"]))
        leaves[paper] = check_paper(name, paper, "%s.%s.pdf" % (stem, paper), page, int(rule.group(2)) * (0.6 if own_size else 1))
    print("%s: least contrast %.1f, %d pictures, leaves %s" % (name, page["least"], page["pictures"], leaves), flush=True)


async def main():
    async with Browser() as browser:
        for path in sorted(glob.glob(os.path.abspath(FOLDER) + "/*.html")):
            await check(browser, path)


asyncio.run(main())
print("%d passed, %d failed" % (passed, failed))
sys.exit(1 if failed or not passed else 0)
