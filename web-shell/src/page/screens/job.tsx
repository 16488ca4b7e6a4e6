// The job: what it comes to so far, what two people disagree on, and the house as a walk along its riser.

import { useState } from 'preact/hooks';
import type { DisagreementView, JobView, PlaceView } from '../../core/types';
import { Alarm } from '../parts/forms';
import { Shape, TallyLine } from '../parts/shape';
import { Waiting } from '../parts/waiting';
import { alarm, command, locked, panel, views } from '../state';
import { count, DISPOSITION_SHAPE, day_words, local_times, STAGES, stage_word, today } from '../words';
import { Over } from './over';

export function Job({ doc }: { doc: string }) {
  const now = views.value;
  const fresh = now !== null && now.look.screen === 'job' && now.look.doc === doc ? now : null;
  if (fresh === null || fresh.job === null) return <Waiting problem={fresh?.problem ?? null} />;
  const job = fresh.job;
  const why_not = locked();
  return (
    <>
      <main class="page">
        <nav class="back">
          <a href="#/">Jobs</a>
        </nav>
        <div class="title-row">
          <div>
            <h1 tabIndex={-1}>{job.permit}</h1>
            <p class="under">{job.address}</p>
          </div>
          <a class="button" href={`#/job/${encodeURIComponent(doc)}/notice`}>
            Notice
          </a>
        </div>
        <p>
          {job.scope}
          {job.contractor !== '' && ` · ${job.contractor}`}
        </p>
        {why_not !== null && <p class="warning">{why_not}</p>}
        {job.faults.length > 0 && (
          <details class="warning">
            <summary>
              {count(job.faults.length, 'entry', 'entries')} of this record could not be read and{' '}
              {job.faults.length === 1 ? 'was' : 'were'} skipped
            </summary>
            <ul>
              {job.faults.map((fault) => (
                <li key={fault}>{fault}</li>
              ))}
            </ul>
          </details>
        )}
        <Alarm />
        {fresh.problem !== null && (
          <p class="warning" role="alert">
            {fresh.problem}
          </p>
        )}
        {job.visit === null ? <OpenVisit job={job} readonly={why_not !== null} /> : <Disposition job={job} />}
        {job.disagreements.length > 0 && <Disagreements doc={doc} list={job.disagreements} />}
        <section>
          <h2>The walk</h2>
          <ul class="walk" aria-label="Places">
            {job.places.map((place) => (
              <PlaceRow key={place.id} doc={doc} place={place} visited={job.visit !== null} />
            ))}
          </ul>
        </section>
        <Law job={job} />
        <History job={job} />
        {job.visit !== null && why_not === null && (
          <section class="card stack">
            <h2>Another visit</h2>
            <p>
              Open now: {job.visit.stage_label}, {day_words(job.visit.on)}, opened by {job.visit.opened_by}.
            </p>
            <button
              type="button"
              onClick={() => {
                alarm.value = null;
                panel.value = {
                  title: 'Open another visit',
                  body: (close) => <VisitForm stage={job.visit?.stage ?? 'final'} done={close} />,
                };
              }}
            >
              Open another visit
            </button>
          </section>
        )}
      </main>
      <Over doc={doc} />
    </>
  );
}

function Disposition({ job }: { job: JobView }) {
  const { disposition, visit } = job;
  return (
    <section class="card disposition" aria-label="Disposition so far">
      <p class="under">
        {visit?.stage_label}, {day_words(visit?.on ?? '')} · disposition so far
      </p>
      <p
        class={`big ink-${DISPOSITION_SHAPE[disposition.word]}`}
        data-testid="disposition"
        data-disposition={disposition.word}
      >
        <Shape name={DISPOSITION_SHAPE[disposition.word]} /> {disposition.label}
      </p>
      {disposition.because.length > 0 && (
        <ul>
          {disposition.because.slice(0, 5).map((because) => (
            <li key={because}>{because}</li>
          ))}
        </ul>
      )}
      {disposition.because.length > 5 && (
        <details>
          <summary>{disposition.because.length - 5} more reasons</summary>
          <ul>
            {disposition.because.slice(5).map((because) => (
              <li key={because}>{because}</li>
            ))}
          </ul>
        </details>
      )}
      <p>
        <TallyLine tally={job.tally} />
      </p>
    </section>
  );
}

function OpenVisit({ job, readonly }: { job: JobView; readonly: boolean }) {
  const last = job.history.at(-1);
  return (
    <section class="card stack">
      <h2>Open the visit</h2>
      <p>The stage chooses what is to be seen.</p>
      {readonly ? (
        <p>This cannot be done here.</p>
      ) : (
        <VisitForm stage={last === undefined ? 'rough' : 'final'} done={() => undefined} />
      )}
    </section>
  );
}

function VisitForm({ stage, done }: { stage: string; done: () => void }) {
  const [chosen, set_chosen] = useState(stage);
  const [on, set_on] = useState(today());
  return (
    <form
      class="stack"
      onSubmit={async (event) => {
        event.preventDefault();
        if (await command({ do: 'open_visit', stage: chosen, on }, `${stage_word(chosen)} visit opened`)) done();
      }}
    >
      <fieldset class="segments">
        <legend>Stage</legend>
        {STAGES.map(([word, label]) => (
          <label key={word}>
            <input type="radio" name="stage" value={word} checked={chosen === word} onChange={() => set_chosen(word)} />
            <span>{label}</span>
          </label>
        ))}
      </fieldset>
      <label class="field">
        <span>Day of the visit</span>
        <input type="date" required value={on} onInput={(event) => set_on(event.currentTarget.value)} />
      </label>
      <Alarm />
      <button type="submit" class="primary">
        Open the visit
      </button>
    </form>
  );
}

function Disagreements({ doc, list }: { doc: string; list: DisagreementView[] }) {
  return (
    <section class="disagreements" aria-label="Disagreements">
      <h2>
        <Shape name="disputed" /> {count(list.length, 'disagreement')} to decide
      </h2>
      <ul>
        {list.map((one) => (
          <li key={`${one.subject}/${one.fact}`} class="card">
            <p>
              <b>{one.label}</b>, {one.subject_name}
            </p>
            <ul class="values">
              {one.values.map((value) => (
                <li key={value.id}>
                  <b>{value.value}</b> {value.by}, {local_times(value.at)}
                  {value.note !== '' && ` · ${value.note}`}
                </li>
              ))}
            </ul>
            {one.effect !== '' && <p class="under">{one.effect}</p>}
            <a
              class="button"
              href={`#/job/${encodeURIComponent(doc)}/fact/${encodeURIComponent(one.subject)}/${encodeURIComponent(one.fact)}`}
            >
              Decide
            </a>
          </li>
        ))}
      </ul>
    </section>
  );
}

function PlaceRow({ doc, place, visited }: { doc: string; place: PlaceView; visited: boolean }) {
  return (
    <li
      class={`stop depth-${Math.min(place.depth, 2)}${place.struck === null ? '' : ' struck'}`}
      data-testid={`place:${place.id}`}
    >
      <a href={`#/job/${encodeURIComponent(doc)}/place/${encodeURIComponent(place.id)}`}>
        <span class="stop-name">
          <b>
            {place.name}
            <span class="unseen">: </span>
          </b>
          {place.subjects > 0 && <small>{count(place.subjects, 'thing')} listed</small>}
        </span>
        <span class="stop-tally">
          {place.disagreements > 0 && (
            <span class="ink-disputed">
              <Shape name="disputed" /> {place.disagreements} to decide
            </span>
          )}
          {place.left_open !== null && <span class="ink-undetermined">Left open: {place.left_open.why}</span>}
          {place.struck !== null && <span>Struck: {place.struck.why}</span>}
          {place.struck === null && visited && (place.subjects > 0 || place.tally.to_see > 0) && (
            <TallyLine tally={place.tally} />
          )}
        </span>
      </a>
    </li>
  );
}

function Law({ job }: { job: JobView }) {
  return (
    <section class="card">
      <h2>Law in force</h2>
      {job.adoption.problem !== null && (
        <p class="warning" role="alert">
          {job.adoption.problem}
        </p>
      )}
      <p>
        <b>{job.adoption.title}</b>, for a permit applied for {day_words(job.applied_on)}
      </p>
      <ul>
        {job.adoption.layers.map((layer) => (
          <li key={layer}>{layer}</li>
        ))}
      </ul>
    </section>
  );
}

function History({ job }: { job: JobView }) {
  if (job.history.length === 0) return null;
  return (
    <section class="card">
      <h2>Visits before</h2>
      <ol class="visits">
        {job.history.map((visit) => (
          <li key={`${visit.on}/${visit.stage}`}>
            <b>
              {day_words(visit.on)}, {stage_word(visit.stage)}: {visit.disposition.replaceAll('_', ' ')}
            </b>
            <span>
              {visit.by}
              {visit.words !== '' && ` · ${visit.words}`}
            </span>
          </li>
        ))}
      </ol>
    </section>
  );
}
