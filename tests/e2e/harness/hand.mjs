// What an inspector's hand does on the tablet, through roles and names as they are on the screen.

import { until } from './until.mjs';

export class Hand {
  constructor(tablet) {
    this.tablet = tablet;
  }

  get page() {
    return this.tablet.page;
  }

  async sign_in(person, device = this.tablet.name) {
    await this.page.getByLabel('User name').fill(person.user);
    await this.page.getByLabel('Password').fill(person.password);
    await this.page.getByLabel('Name of this tablet').fill(device);
    await this.page.getByRole('button', { name: 'Sign in' }).click();
    await this.page.getByRole('heading', { name: 'Jobs taken along' }).waitFor();
  }

  /** Until the tablet itself says that the network may go. */
  async take_along() {
    await this.page.getByRole('button', { name: 'Take the jobs along' }).click();
    await until('the tablet is ready to leave', async () =>
      (await this.page.getByTestId('readiness').textContent()).includes('Ready to go without a signal'), 60_000);
  }

  async jobs() {
    await this.page.goto(`${this.tablet.line.url}/#/`);
    await this.page.getByRole('heading', { name: 'Jobs taken along' }).waitFor();
  }

  async open_job(permit) {
    await this.jobs();
    await this.page.getByTestId(`job:${permit}`).getByRole('link').click();
    await this.page.getByRole('heading', { name: permit, level: 1 }).waitFor();
  }

  async open_visit(stage) {
    await this.page.getByText(stage, { exact: true }).click();
    await this.page.getByRole('button', { name: 'Open the visit' }).click();
    await this.page.getByTestId('disposition').waitFor();
  }

  /** From anywhere in a job. */
  async walk() {
    const back = this.page.getByRole('link', { name: 'The walk' });
    if ((await back.count()) > 0) await back.click();
    await this.page.getByRole('heading', { name: 'The walk' }).waitFor();
  }

  async enter(place) {
    await this.walk();
    await this.page.getByRole('list', { name: 'Places' }).getByRole('link', { name: new RegExp(`^${escape(place)} ?:`) }).click();
    await this.page.getByRole('heading', { name: place, level: 1 }).waitFor();
  }

  subject(name) {
    return this.page.getByRole('article', { name, exact: true });
  }

  /** The line of a fact on its subject. */
  fact(subject, fact) {
    return this.subject(subject).locator(`[data-testid$=":${fact}"][data-testid^="fact:"]`);
  }

  /** The lines of a provision on a subject. */
  verdict(subject, provision) {
    return this.subject(subject).locator(`[data-testid^="verdict:"][data-testid*="${provision}:"]`);
  }

  async verdict_word(subject, provision) {
    const line = this.verdict(subject, provision);
    return (await line.count()) === 0 ? null : line.first().getAttribute('data-verdict');
  }

  get dock() {
    return this.page.getByRole('region', { name: 'Entry' });
  }

  /** Puts the light on a fact. */
  async light(subject, fact) {
    const line = this.fact(subject, fact);
    if (!(await line.first().isVisible())) await this.subject(subject).locator('summary').first().click();
    await line.first().getByRole('button').click();
  }

  /** Digits and marks of a tape by the keys, `23 5/8` as 2, 3, 5/8. */
  async key_in(text) {
    for (const part of text.split(' ')) {
      if (part.includes('/')) await this.dock.getByRole('button', { name: part, exact: true }).click();
      else {
        for (const digit of part) {
          await this.dock.getByRole('button', { name: digit === '.' ? 'Point' : digit, exact: true }).click();
        }
      }
    }
  }

  /** Records a number by the keys and waits until the screen says that it is saved. */
  async record_number(subject, fact, text) {
    await this.light(subject, fact);
    await this.key_in(text);
    await this.act(() => this.dock.getByRole('button', { name: /^Record ./ }).click());
  }

  /** Records by a tap on a word. */
  async record_word(subject, fact, label) {
    await this.light(subject, fact);
    await this.act(() => this.dock.getByRole('button', { name: label, exact: true }).click());
  }

  /** Acts, and waits until the screen says anew that it is on this tablet's disk. */
  async act(click) {
    const said = () => this.page.locator('p.said').textContent();
    const before = await said();
    await click();
    await until('the screen says that it is saved', async () => {
      const now = await said();
      return now !== before && now.includes('Saved on this tablet');
    });
  }

  async still_to_see() {
    return Number(await this.page.locator('#still .number').textContent());
  }

  async standing() {
    return (await this.page.getByTestId('standing').textContent()).trim();
  }

  async wait_standing(words, limit_ms) {
    await until(`standing is "${words}"`, async () => (await this.standing()).includes(words), limit_ms);
  }

  get link() {
    return this.page.getByTestId('link').getAttribute('data-link');
  }

  async sign_in_again(person) {
    await this.page.getByRole('region', { name: 'Where your work is' }).getByRole('button', { name: 'Sign in again' }).click();
    await this.page.getByLabel('Password').fill(person.password);
    await this.page.getByRole('dialog').getByRole('button', { name: 'Sign in' }).click();
  }

  /** A browser keeps a cookie in memory for half a minute before it writes it: one killed soon after signing in forgets
   * the session (and nothing else). */
  async sign_in_again_if_asked(person) {
    const state = await until('the tablet has found the server', async () => {
      const link = await this.link;
      return ['connected', 'sign_in'].includes(link) && link;
    }, 60_000);
    if (state === 'sign_in') await this.sign_in_again(person);
  }

  async disposition() {
    return this.page.getByTestId('disposition').getAttribute('data-disposition');
  }

  async more(subject, act) {
    await this.page.getByRole('button', { name: `More for ${subject}`, exact: true }).click();
    await this.page.getByRole('dialog').getByRole('button', { name: act, exact: true }).click();
  }

  async notice() {
    await this.walk();
    await this.page.getByRole('link', { name: 'Notice' }).click();
    await this.page.getByRole('article', { name: 'Notice' }).waitFor();
  }
}

export function escape(text) {
  return text.replace(/[.*+?^${}()|[\]\\]/g, '\\$&');
}
