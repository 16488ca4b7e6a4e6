// Always in sight: where the work is. "Saved on this tablet" follows the completed transaction, "safe on the server"
// the server's acknowledgement, and neither is guessed here.

import { useEffect } from 'preact/hooks';
import type { JobRow, Status } from '../../shared/messages';
import { ask } from '../bridge';
import { SignInForm } from '../screens/sign_in';
import { attempt, doc_here, panel, said, status, update } from '../state';
import { clock, count, LINK_WORDS, standing_words } from '../words';
import { Shape } from './shape';

export function Strip() {
  const now = status.value;
  useEffect(() => {
    // The last words stay long enough to be read, then make room.
    const timer = setTimeout(() => {
      said.value = '';
    }, 4_000);
    return () => clearTimeout(timer);
  }, [said.value]);
  if (now === null) return null;
  const job = now.rows.find((row) => row.doc === doc_here()) ?? null;
  const refused = (job === null ? now.rows : [job]).filter((row) => row.standing.refused !== null);
  return (
    <div class="strip" role="region" aria-label="Where your work is">
      <div class="strip-line">
        <span class="strip-item" data-testid="saved">
          <Shape name="tablet" />{' '}
          {now.saved_at === null ? 'All saved on this tablet' : `Saved on this tablet ${clock(now.saved_at)}`}
        </span>
        {now.session !== null && (
          <span class="strip-item" data-testid="standing">
            <Shape name="server" /> {job === null ? day_standing(now.rows) : standing_words(job.standing)}
          </span>
        )}
        <span class="strip-item strip-link" data-testid="link" data-link={now.link}>
          {now.writer === 'elsewhere' ? 'Another tab works' : LINK_WORDS[now.link]}
        </span>
      </div>
      {now.link === 'sign_in' && now.session !== null && (
        <div class="strip-note" role="alert">
          <span>Sign in again to send; your work is kept here.</span>
          <button type="button" onClick={() => sign_in_again()}>
            Sign in again
          </button>
        </div>
      )}
      {now.writer === 'elsewhere' && (
        <div class="strip-note" role="alert">
          <span>
            Crownweir is open in another tab, and only one may write. This tab is read-only and follows the other.
          </span>
          <button type="button" onClick={() => attempt(() => ask({ type: 'take_over' }))}>
            Work in this tab instead
          </button>
        </div>
      )}
      {refused.map((row) => (
        <div class="strip-note" role="alert" key={row.doc}>
          <span>
            The server did not take changes of permit {row.permit}: {row.standing.refused} They are kept on this tablet,
            and the server keeps a copy for a supervisor to look at.
          </span>
        </div>
      ))}
      {now.trouble !== null && (
        <div class="strip-note" role="alert">
          <span>{now.trouble}</span>
        </div>
      )}
      {update.value !== null && job === null && (
        <div class="strip-note">
          <span>A new version of Crownweir is ready. It is taken when you say so.</span>
          <button type="button" onClick={take_update}>
            Take the new version
          </button>
        </div>
      )}
    </div>
  );
}

function day_standing(rows: JobRow[]): string {
  const here = rows.filter((row) => row.on_tablet);
  if (here.length === 0) return 'No job on this tablet yet';
  const alone = here.filter((row) => row.standing.word === 'tablet').length;
  const photos = here.reduce((sum, row) => sum + row.standing.photos_waiting, 0);
  const sent = alone === 0 ? 'Safe on the server' : `${count(alone, 'job')} only on this tablet`;
  return photos === 0 ? sent : `${sent}, ${count(photos, 'photo')} still to send`;
}

function take_update(): void {
  navigator.serviceWorker.addEventListener('controllerchange', () => location.reload(), { once: true });
  update.value?.waiting?.postMessage({ type: 'SKIP_WAITING' });
}

export function sign_in_again(): void {
  panel.value = { title: 'Sign in again', body: (close) => <SignInForm again={true} done={close} /> };
}

/** Words for a job that stands alone, for the day's list. */
export function kept_words(now: Status): string {
  const alone = now.rows.filter((row) => row.standing.word === 'tablet').map((row) => row.permit);
  return alone.length === 0
    ? ''
    : `Work on permit ${alone.join(', ')} is only on this tablet. It is kept when you sign out, and goes over when you sign in again.`;
}
