// Accessibility of what is on the screen: axe's rules, and the size of every target for a gloved finger.

import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';

const SOURCE = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
const TAGS = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'];

/** Violations as one line each; empty when there is none. */
export async function violations(page) {
  // A dialog that is still fading in has the contrast of the moment, not its own.
  await page.evaluate(() => Promise.all(document.getAnimations().map((one) => one.finished.catch(() => undefined))));
  // Evaluated, not added as a script: the page's own policy stays on.
  await page.evaluate(SOURCE);
  const found = await page.evaluate((tags) => globalThis.axe.run(document, { runOnly: tags }), TAGS);
  return found.violations.map(
    (violation) => `${violation.id}: ${violation.help}: ${violation.nodes.map((node) => node.target.join(' ')).join(', ')}`,
  );
}

/** Targets that are smaller than 48 by 48 CSS px, with what they are. */
export async function smallTargets(page) {
  return page.evaluate(() => {
    const least = 48;
    const shown = (element) => {
      const style = getComputedStyle(element);
      const box = element.getBoundingClientRect();
      return style.visibility !== 'hidden' && style.display !== 'none' && box.width > 0 && box.height > 0;
    };
    /** A label that wraps or names a box or a radio is its target. */
    const boxes = (element) => {
      const own = element.getBoundingClientRect();
      const labels = element.labels === undefined || element.labels === null ? [] : [...element.labels];
      return [own, ...labels.map((label) => label.getBoundingClientRect())];
    };
    // Behind an open modal dialog nothing can be touched.
    const dialogs = [...document.querySelectorAll('dialog[open]')];
    const root = dialogs.at(-1) ?? document;
    const targets = [...root.querySelectorAll('button, input, select, textarea, a[href], summary, [role=button], [tabindex="0"]')];
    return targets
      .filter((element) => shown(element) || (element.labels?.length ?? 0) > 0)
      // Half a pixel is a matter of rounding, not of fingers.
      .filter((element) => !boxes(element).some((box) => box.width >= least - 0.5 && box.height >= least - 0.5))
      .map((element) => {
        const box = element.getBoundingClientRect();
        const name = element.getAttribute('aria-label') ?? element.textContent?.trim().slice(0, 40) ?? '';
        return `${element.tagName.toLowerCase()} "${name}" ${box.width.toFixed(0)}x${box.height.toFixed(0)}`;
      });
  });
}
