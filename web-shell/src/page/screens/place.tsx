// One place, open: what is still to see on the one side, what stands in it on the other, the light below.

import type { FactView, NeedView, PlacePage, SubjectView, VerdictView } from '../../core/types';
import { free_name } from '../names';
import { add_subject } from '../parts/add';
import { Dock, light, lit, same, target_of, useLitInView } from '../parts/dock';
import { ask_words } from '../parts/forms';
import { memo } from '../parts/memo';
import { Photos, strike_or_restore, TakePhoto } from '../parts/photos';
import { Shape, TallyLine, VerdictMark } from '../parts/shape';
import { Waiting } from '../parts/waiting';
import { command, go, locked, panel, type Target, target, views } from '../state';
import { by_subject } from '../sweep';
import { count, how_word, local_times, VERDICT_ORDER } from '../words';
import { Over } from './over';

export function Place({ doc, place }: { doc: string; place: string }) {
  const now = views.value;
  const fresh =
    now !== null && now.look.screen === 'place' && now.look.doc === doc && now.look.place === place ? now : null;
  if (fresh === null || fresh.place === null || fresh.job === null) return <Waiting problem={fresh?.problem ?? null} />;
  const page = { ...fresh.place, still_to_see: by_subject(fresh.place.still_to_see) };
  const readonly = locked() !== null;
  const on = lit(page);
  const chosen = target.value !== null;
  const own = page.subjects.find((subject) => subject.id === place);
  // A place with nothing of its own to see needs no card: its name stands above.
  const shown = page.subjects.filter((subject) => subject !== own || has_something(subject));
  return (
    <>
      <main class="room">
        <div class="title-row">
          <nav class="back">
            <a href={`#/job/${encodeURIComponent(doc)}`}>The walk</a>
          </nav>
          <div class="grow">
            <h1 tabIndex={-1}>{page.place.name}</h1>
            {fresh.job.visit !== null && (
              <p class="under">
                <TallyLine tally={page.place.tally} />
              </p>
            )}
          </div>
          {!readonly && page.addable.length > 0 && (
            <button type="button" aria-label="Add what stands here" onClick={() => add_subject(page, page.addable)}>
              Add
            </button>
          )}
          {!readonly && own !== undefined && (
            <button type="button" aria-label={`More for ${page.place.name}`} onClick={() => more(own)}>
              More
            </button>
          )}
        </div>
        {fresh.job.visit === null && <p class="warning">No visit is open. Open one on the walk before you record.</p>}
        {fresh.problem !== null && (
          <p class="warning" role="alert">
            {fresh.problem}
          </p>
        )}
        <div class="room-columns">
          <Rail page={page} readonly={readonly} />
          <div class="subjects">
            {shown.map((subject) => (
              <Subject
                key={subject.id}
                doc={doc}
                place={page.place.id}
                subject={subject}
                lit={on !== null && on.subject === subject.id ? lit_name(on) : null}
                chosen={chosen}
                readonly={readonly}
              />
            ))}
          </div>
        </div>
      </main>
      <Dock doc={doc} page={page} job={fresh.job} />
      <Over doc={doc} />
    </>
  );
}

/** `first`: the first of several of one subject bears its name. */
const Need = memo(function Need({ need, first, here }: { need: NeedView; first: boolean; here: boolean }) {
  const ref = useLitInView(here, '.rail');
  return (
    <li>
      {first && (
        <p class="need-of" aria-hidden="true">
          {need.subject_name}
        </p>
      )}
      <button
        ref={ref}
        type="button"
        class="need"
        aria-current={here ? 'true' : undefined}
        onClick={() => light(target_of(need))}
      >
        {here && <Shape name="to_see" />}
        <span>
          {need.label}
          <span class="unseen">, {need.subject_name}</span>
        </span>
      </button>
    </li>
  );
});

function has_something(subject: SubjectView): boolean {
  return (
    subject.struck !== null ||
    subject.photos.length > 0 ||
    subject.facts.length > 0 ||
    subject.verdicts.some((verdict) => verdict.verdict !== 'not_applicable') ||
    subject.closings.some((closing) => closing.wanted || closing.closed)
  );
}

function Rail({ page, readonly }: { page: PlacePage; readonly: boolean }) {
  const on = lit(page);
  const open = page.place.left_open;
  const disputed = page.subjects.flatMap((subject) =>
    subject.struck === null
      ? subject.facts.filter((fact) => fact.state === 'disputed').map((fact) => ({ subject, fact }))
      : [],
  );
  return (
    <section class="rail" aria-labelledby="still">
      <h2 id="still">
        Still to see here <span class="number">{page.still_to_see.length}</span>
      </h2>
      {disputed.length > 0 && (
        <ul aria-label="To decide">
          {disputed.map(({ subject, fact }) => (
            <li key={`${subject.id}/${fact.fact}`}>
              <button
                type="button"
                class="need to-decide"
                onClick={() => light({ subject: subject.id, what: fact.fact, closing: false })}
              >
                <Shape name="disputed" />
                <span>
                  Decide: {fact.label}, {subject.name}
                </span>
              </button>
            </li>
          ))}
        </ul>
      )}
      {page.still_to_see.length === 0 && <p>Nothing, at this stage.</p>}
      <ul>
        {page.still_to_see.map((need, index) => (
          <Need
            key={`${need.subject}/${need.what}/${need.closing}`}
            need={need}
            first={need.subject !== page.still_to_see[index - 1]?.subject}
            here={same(on, target_of(need))}
          />
        ))}
      </ul>
      {open !== null && (
        <p class="warning">
          Left open by {open.by}: {open.why}
        </p>
      )}
      {!readonly && (
        <button
          type="button"
          onClick={() =>
            ask_words({
              title: open === null ? `Leave ${page.place.name} open` : `${page.place.name} was left open`,
              about:
                open === null ? (
                  <p>It stays unseen and is named on the notice with your reason. Nothing in it is passed.</p>
                ) : (
                  <p>Empty the field to take it back.</p>
                ),
              label: 'What could not be seen, and why',
              initial: open?.why ?? '',
              optional: open !== null,
              submit: 'Save',
              act: (why) =>
                command(
                  { do: 'leave_open', place: page.place.id, why },
                  why === '' ? `${page.place.name} is no longer left open` : `${page.place.name} left open`,
                ),
            })
          }
        >
          {open === null ? 'Could not see everything here' : 'Change why it is left open'}
        </button>
      )}
    </section>
  );
}

interface SubjectProps {
  doc: string;
  place: string;
  subject: SubjectView;
  /** What of this subject is lit, if anything is. */
  lit: string | null;
  /** The light was put there by a tap, not by being next. */
  chosen: boolean;
  readonly: boolean;
}

function lit_name(on: Target): string {
  return `${on.closing ? 'all' : 'fact'} ${on.what}`;
}

const Subject = memo(function Subject({ doc, place, subject, lit, chosen, readonly }: SubjectProps) {
  const shown = subject.facts.filter((fact) => fact.asked || fact.state !== 'unknown');
  const rest = subject.facts.filter((fact) => !fact.asked && fact.state === 'unknown');
  const worst = VERDICT_ORDER.find((word) => subject.verdicts.some((verdict) => verdict.verdict === word));
  const lines = VERDICT_ORDER.filter((word) => word !== 'not_applicable').flatMap((word) =>
    subject.verdicts.filter((one) => one.verdict === word),
  );
  const beside = subject.verdicts.filter((one) => one.verdict === 'not_applicable');
  const struck = subject.struck;
  return (
    <article
      class={`subject depth-${Math.min(subject.depth, 3)} edge-${worst ?? 'none'}${struck === null ? '' : ' struck'}`}
      aria-label={subject.name}
    >
      <header>
        <h2>
          {subject.name} <small>{subject.kind_label}</small>
        </h2>
        {!readonly && subject.depth > 0 && (
          <div class="subject-acts">
            {struck === null && <TakePhoto subject={subject.id} name={subject.name} caption={subject.name} />}
            <button type="button" aria-label={`More for ${subject.name}`} onClick={() => more(subject)}>
              More
            </button>
          </div>
        )}
      </header>
      {struck !== null ? (
        <p>
          Struck by {struck.by}, {local_times(struck.at)}: {struck.why}
        </p>
      ) : (
        <>
          {lines.length > 0 && (
            <ul class="verdicts" aria-label={`Verdicts on ${subject.name}`}>
              {lines.map((verdict) => (
                <Verdict key={verdict.provision} doc={doc} place={place} verdict={verdict} />
              ))}
            </ul>
          )}
          {shown.length > 0 && (
            <ul class="facts" aria-label={`Facts of ${subject.name}`}>
              {shown.map((fact) => (
                <Fact
                  key={fact.fact}
                  subject={subject}
                  fact={fact}
                  here={lit === `fact ${fact.fact}`}
                  chosen={chosen}
                />
              ))}
            </ul>
          )}
          {subject.closings.length > 0 && (
            <ul class="facts" aria-label={`What is complete in ${subject.name}`}>
              {subject.closings
                .filter((closing) => closing.wanted || closing.closed)
                .map((closing) => (
                  <li key={closing.kind} data-testid={`closing:${subject.id}:${closing.kind}`}>
                    <button
                      type="button"
                      class={closing.wanted ? 'fact wanted' : 'fact'}
                      aria-current={lit === `all ${closing.kind}` ? 'true' : undefined}
                      onClick={() => light({ subject: subject.id, what: closing.kind, closing: true })}
                    >
                      <span>{closing.label}: all of them?</span>
                      <b>{closing.closed ? `All listed, ${closing.by}` : 'There may be more'}</b>
                    </button>
                  </li>
                ))}
            </ul>
          )}
          {(rest.length > 0 || beside.length > 0) && (
            <details>
              <summary>
                {[
                  rest.length > 0 ? count(rest.length, 'more fact') : '',
                  beside.length > 0
                    ? `${count(beside.length, 'provision')} that ${beside.length === 1 ? 'does' : 'do'} not apply`
                    : '',
                ]
                  .filter((part) => part !== '')
                  .join(', ')}
              </summary>
              <ul class="facts">
                {rest.map((fact) => (
                  <Fact
                    key={fact.fact}
                    subject={subject}
                    fact={fact}
                    here={lit === `fact ${fact.fact}`}
                    chosen={chosen}
                  />
                ))}
              </ul>
              <ul class="verdicts">
                {beside.map((verdict) => (
                  <Verdict key={verdict.provision} doc={doc} place={place} verdict={verdict} />
                ))}
              </ul>
            </details>
          )}
          <Photos photos={subject.photos} locked={readonly} />
        </>
      )}
    </article>
  );
});

export function Verdict({ doc, place, verdict }: { doc: string; place: string | null; verdict: VerdictView }) {
  const sheet = { sheet: 'reason' as const, provision: verdict.provision, subject: verdict.subject };
  return (
    <li data-testid={`verdict:${verdict.provision}:${verdict.subject}`} data-verdict={verdict.verdict}>
      <button
        type="button"
        class="verdict"
        onClick={() => go(place === null ? { screen: 'job', doc, sheet } : { screen: 'place', doc, place, sheet })}
      >
        <VerdictMark verdict={verdict.verdict} />
        <span class="verdict-text">
          <b>{verdict.title}</b>
          {/* What an undetermined one waits for stands in the list of what is still to see. */}
          {verdict.verdict !== 'undetermined' && (
            <span>{[verdict.because, verdict.margin].filter((part) => part !== null && part !== '').join(', ')}</span>
          )}
        </span>
        <span class="cite">{verdict.cite}</span>
      </button>
    </li>
  );
}

function Fact({
  subject,
  fact,
  here,
  chosen,
}: {
  subject: SubjectView;
  fact: FactView;
  here: boolean;
  chosen: boolean;
}) {
  const on = { subject: subject.id, what: fact.fact, closing: false };
  const ref = useLitInView(here && chosen, '.subjects');
  const now = fact.current[0];
  return (
    <li data-testid={`fact:${subject.id}:${fact.fact}`} data-state={fact.state}>
      <button
        ref={ref}
        type="button"
        class={fact.wanted_for.length > 0 && fact.state === 'unknown' ? 'fact wanted' : 'fact'}
        aria-current={here ? 'true' : undefined}
        onClick={() => light(on)}
      >
        <span>{fact.label}</span>
        {fact.state === 'disputed' ? (
          <b class="ink-disputed">
            <Shape name="disputed" /> {fact.current.map((one) => `${one.value} (${one.by})`).join(' or ')}
          </b>
        ) : now === undefined ? (
          <span class="unknown">not seen</span>
        ) : (
          <span class="value">
            <b>{now.value}</b>
            <small>
              {[how_word(now.how).toLowerCase(), now.note].filter((part) => part !== '').join(', ')}, {now.by}
            </small>
          </span>
        )}
      </button>
    </li>
  );
}

/** What is done to a subject as a whole. */
function more(subject: SubjectView): void {
  const page = views.value?.place;
  if (page === null || page === undefined) return;
  const inside = page.addable.filter((kind) => kind.parent === subject.id);
  panel.value = {
    title: subject.name,
    body: () => (
      <div class="stack">
        <p class="under">
          {subject.kind_label}, added by {subject.added_by}, {local_times(subject.added_at)}
        </p>
        {subject.struck === null && (
          <>
            <TakePhoto subject={subject.id} name={subject.name} caption={subject.name} />
            {inside.length > 0 && (
              <button type="button" onClick={() => add_subject(page, inside)}>
                Add something to it
              </button>
            )}
            {subject.depth > 0 && (
              <button
                type="button"
                onClick={() =>
                  ask_words({
                    title: `Copy ${subject.name}`,
                    about: <p>The copy has the same parts. What was seen on this one is not seen on the copy.</p>,
                    label: 'What the copy is called',
                    initial: free_name(
                      subject.name,
                      page.subjects.map((one) => one.name),
                    ),
                    submit: 'Copy',
                    act: (name) => command({ do: 'copy_subject', subject: subject.id, name }, `${name} added`),
                  })
                }
              >
                Copy
              </button>
            )}
            <button
              type="button"
              onClick={() =>
                ask_words({
                  title: `Rename ${subject.name}`,
                  label: 'What it is called',
                  initial: subject.name,
                  submit: 'Rename',
                  act: (name) => command({ do: 'rename_subject', subject: subject.id, name }, `now called ${name}`),
                })
              }
            >
              Rename
            </button>
          </>
        )}
        <button type="button" onClick={() => strike_or_restore(subject.id, subject.name, subject.struck !== null)}>
          {subject.struck === null ? 'Strike' : 'Restore'}
        </button>
      </div>
    ),
  };
}
