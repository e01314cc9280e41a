/** One piece of the station's background work that a view waits for. */
import { fetch_job, post_job, stop_job } from '../stream/jobs';

const kFirst_ms = 120;
const kMost_ms = 800;

export type JobStage = 'none' | 'waiting' | 'working' | 'done' | 'failed' | 'stopped';

/** `read`: what makes the answer of its result, and throws when it cannot. */
export class JobRun<T> {
  stage: JobStage = $state('none');
  fraction = $state(0);
  answer: T | undefined = $state.raw();
  failure: unknown = $state.raw();
  private id = '';
  private run = 0;
  private timer: ReturnType<typeof setTimeout> | undefined;

  constructor(private readonly read: (result: unknown) => T) {}

  get busy(): boolean {
    return this.stage === 'waiting' || this.stage === 'working';
  }

  /** Stops what it did before. The last answer stands until there is another. */
  async start(request: object): Promise<void> {
    const run = ++this.run;
    this.give_up();
    [this.stage, this.fraction, this.failure] = ['waiting', 0, undefined];
    try {
      const id = await post_job(request);
      if (run !== this.run) return void stop_job(id).catch(() => undefined);
      this.id = id;
      this.look(run, kFirst_ms);
    } catch (error) {
      if (run === this.run) this.fail(error);
    }
  }

  stop(): void {
    this.run++;
    this.give_up();
    if (this.busy) this.stage = 'stopped';
  }

  private give_up(): void {
    clearTimeout(this.timer);
    if (this.id !== '') void stop_job(this.id).catch(() => undefined); // it may have ended meanwhile
    this.id = '';
  }

  private fail(error: unknown): void {
    [this.stage, this.failure, this.id] = ['failed', error, ''];
  }

  private look(run: number, pause_ms: number): void {
    this.timer = setTimeout(() => {
      void fetch_job(this.id).then(
        (job) => {
          if (run !== this.run) return;
          if (Number.isFinite(job.fraction)) this.fraction = job.fraction;
          if (job.state === 'failed') return this.fail(new Error(job.error));
          if (job.state === 'done') return this.finish(job.result);
          this.stage = job.state;
          if (this.busy) this.look(run, Math.min(kMost_ms, 1.5 * pause_ms));
        },
        (error: unknown) => run === this.run && this.fail(error),
      );
    }, pause_ms);
  }

  private finish(result: unknown): void {
    try {
      this.answer = this.read(result);
      [this.stage, this.fraction, this.id] = ['done', 1, ''];
    } catch (error) {
      this.fail(error);
    }
  }
}
