// What the contractor gets: on the screen as on paper. Words may be added, the disposition follows from the verdicts.

import type { CorrectionView, JobView, NoticeView } from '../../core/types';
import { Alarm, ask_words } from '../parts/forms';
import { PhotoImage, strike_or_restore } from '../parts/photos';
import { Shape } from '../parts/shape';
import { Waiting } from '../parts/waiting';
import { command, locked, views } from '../state';
import { DISPOSITION_SHAPE, day_words, local_times, stage_word } from '../words';

export function Notice({ doc }: { doc: string }) {
  const now = views.value;
  const fresh = now !== null && now.look.screen === 'notice' && now.look.doc === doc ? now : null;
  if (fresh === null || fresh.notice === null || fresh.job === null)
    return <Waiting problem={fresh?.problem ?? null} />;
  const readonly = locked() !== null;
  return (
    <main class="page">
      <nav class="back no-print">
        <a href={`#/job/${encodeURIComponent(doc)}`}>The walk</a>
        <span>{fresh.job.permit}</span>
      </nav>
      <Acts notice={fresh.notice} job={fresh.job} readonly={readonly} />
      <Paper notice={fresh.notice} readonly={readonly} />
    </main>
  );
}

function Acts({ notice, job, readonly }: { notice: NoticeView; job: JobView; readonly: boolean }) {
  const hindered = notice.disposition.word === 'not_ready' || notice.disposition.word === 'no_access';
  return (
    <section class="notice-acts no-print" aria-label="What to do with the notice">
      <Alarm />
      {notice.changed_since.length > 0 && (
        <div class="warning" role="alert">
          <p>Changed since it was handed over:</p>
          <ul>
            {notice.changed_since.map((change) => (
              <li key={change}>{change}</li>
            ))}
          </ul>
        </div>
      )}
      {!notice.disposition.may_issue && (
        <div class="warning">
          <p>It cannot be handed over yet:</p>
          <ul>
            {notice.disposition.because.map((because) => (
              <li key={because}>{because}</li>
            ))}
          </ul>
        </div>
      )}
      <div class="act-row">
        <button type="button" onClick={() => window.print()}>
          Print
        </button>
        {!readonly && (
          <>
            <button
              type="button"
              onClick={() =>
                ask_words({
                  title: 'Add words to the notice',
                  about: <p>They stand beside the disposition and do not change it.</p>,
                  label: 'Words',
                  long: true,
                  submit: 'Add words',
                  act: (text) =>
                    command({ do: 'add_words', text, provision: null, subject: null }, 'words added to the notice'),
                })
              }
            >
              Add words
            </button>
            {job.visit !== null &&
              (hindered ? (
                <button
                  type="button"
                  onClick={() =>
                    command({ do: 'hinder', what: notice.disposition.word, why: '' }, 'the visit can be held after all')
                  }
                >
                  The visit can be held after all
                </button>
              ) : (
                <>
                  <Hinder
                    what="not_ready"
                    label="Not ready"
                    about="No test on, covered, no water or gas: the visit could not be held."
                  />
                  <Hinder
                    what="no_access"
                    label="No access"
                    about="Nobody there, locked, unsafe: the visit could not be held."
                  />
                </>
              ))}
            <button
              type="button"
              class="primary"
              disabled={!notice.disposition.may_issue}
              onClick={() =>
                ask_words({
                  title: 'Hand the notice over',
                  about: (
                    <p>
                      Disposition: <b>{notice.disposition.label}</b>. It is kept with the state of the record as it is
                      now; receiving it is not agreeing to it.
                    </p>
                  ),
                  label: 'Received by',
                  submit: 'Hand over',
                  act: (received_by) => command({ do: 'issue_notice', received_by }, 'notice handed over'),
                })
              }
            >
              Hand over
            </button>
          </>
        )}
      </div>
    </section>
  );
}

function Hinder({ what, label, about }: { what: 'not_ready' | 'no_access'; label: string; about: string }) {
  return (
    <button
      type="button"
      onClick={() =>
        ask_words({
          title: label,
          about: <p>{about} What was seen so far is kept.</p>,
          label: 'Reason',
          submit: 'Save',
          act: (why) => command({ do: 'hinder', what, why }, label.toLowerCase()),
        })
      }
    >
      {label}
    </button>
  );
}

function Paper({ notice, readonly }: { notice: NoticeView; readonly: boolean }) {
  return (
    <article class="paper" aria-label="Notice">
      <header class="paper-head">
        <p class="agency">{notice.agency}</p>
        <h1 tabIndex={-1}>{notice.title}</h1>
        <p class="paper-state">
          {notice.issued === '' ? 'Draft, not handed over' : `Handed over ${local_times(notice.issued)}`}
        </p>
      </header>
      <dl class="pairs paper-facts">
        <dt>Permit</dt>
        <dd>{notice.permit}</dd>
        <dt>Address</dt>
        <dd>{notice.address}</dd>
        <dt>Work</dt>
        <dd>{notice.scope}</dd>
        <dt>Contractor</dt>
        <dd>{notice.contractor || 'not named'}</dd>
        <dt>Visit</dt>
        <dd>
          {stage_word(notice.stage)}
          {notice.on !== '' && `, ${day_words(notice.on)}`}
        </dd>
        <dt>Inspectors</dt>
        <dd>{notice.inspectors.join(', ') || 'not named'}</dd>
        <dt>Law in force</dt>
        <dd>{notice.law.join('; ')}</dd>
      </dl>
      <section class="paper-disposition">
        <h2 data-testid="disposition" data-disposition={notice.disposition.word}>
          <Shape name={DISPOSITION_SHAPE[notice.disposition.word]} /> {notice.disposition.label}
        </h2>
        <ul>
          {notice.disposition.because.map((because) => (
            <li key={because}>{because}</li>
          ))}
        </ul>
      </section>
      {notice.corrections.length > 0 && (
        <section>
          <h2>To correct</h2>
          <ol class="corrections">
            {notice.corrections.map((correction) => (
              <Correction
                key={`${correction.provision}/${correction.subject_id}`}
                correction={correction}
                readonly={readonly}
              />
            ))}
          </ol>
        </section>
      )}
      <Lines title="May be covered or used" lines={notice.covered} />
      <Lines title="Not seen at this visit, stays open" lines={notice.not_seen} />
      {notice.words.length > 0 && (
        <section>
          <h2>Words of the inspector</h2>
          {notice.words.map((words) => (
            <div key={words.id} class="said-words">
              <p>
                {words.text}
                <small>
                  {words.by}, {local_times(words.at)}
                </small>
              </p>
              {!readonly && (
                <button
                  type="button"
                  class="quiet no-print"
                  onClick={() => strike_or_restore(words.id, 'these words', false)}
                >
                  Strike words
                </button>
              )}
            </div>
          ))}
        </section>
      )}
      <section class="paper-cautions">
        <h2>Cautions</h2>
        <ul>
          {notice.cautions.map((caution) => (
            <li key={caution}>{caution}</li>
          ))}
        </ul>
      </section>
      <section class="signature print-only">
        <p>Received by</p>
        <p>Date</p>
        <p class="under">Receiving this notice is not agreeing to it.</p>
      </section>
    </article>
  );
}

function Correction({ correction, readonly }: { correction: CorrectionView; readonly: boolean }) {
  const photos = correction.photos.filter((photo) => photo.struck === null);
  return (
    <li
      class="correction"
      value={correction.number}
      data-testid={`correction:${correction.provision}:${correction.subject_id}`}
    >
      <h3>{correction.title}</h3>
      <p class="under">
        {correction.place}, {correction.subject} · <b>{correction.section}</b>
      </p>
      <dl class="pairs">
        <dt>Found</dt>
        <dd>{correction.found}</dd>
        <dt>Limit</dt>
        <dd>{correction.limit}</dd>
        <dt>To do</dt>
        <dd>{correction.tell}</dd>
        {correction.why !== '' && (
          <>
            <dt>Why</dt>
            <dd>{correction.why}</dd>
          </>
        )}
      </dl>
      {correction.words.map((words) => (
        <p key={words}>{words}</p>
      ))}
      {photos.length > 0 && (
        <div class="correction-photos">
          {photos.map((photo) => (
            <figure key={photo.id}>
              <PhotoImage sha256={photo.sha256} caption={photo.caption} />
              <figcaption>
                {photo.caption}, {photo.by}, {local_times(photo.at)}
              </figcaption>
            </figure>
          ))}
        </div>
      )}
      {!readonly && (
        <button
          type="button"
          class="quiet no-print"
          aria-label={`Add words to correction ${correction.number}`}
          onClick={() =>
            ask_words({
              title: `Words to correction ${correction.number}`,
              label: 'Words',
              long: true,
              submit: 'Add words',
              act: (text) =>
                command(
                  { do: 'add_words', text, provision: correction.provision, subject: correction.subject_id },
                  `words added to correction ${correction.number}`,
                ),
            })
          }
        >
          Add words
        </button>
      )}
    </li>
  );
}

function Lines({ title, lines }: { title: string; lines: string[] }) {
  if (lines.length === 0) return null;
  return (
    <section>
      <h2>{title}</h2>
      <ul>
        {lines.map((line) => (
          <li key={line}>{line}</li>
        ))}
      </ul>
    </section>
  );
}
