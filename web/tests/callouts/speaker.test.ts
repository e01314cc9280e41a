/** What is spoken, in which order, and what is not said any more; with a device and a clock of the test's own. */
import { describe, expect, it } from 'vitest';
import type { CallOut, Weight } from '../../src/callouts/select';
import { Speaker, type Voice } from '../../src/callouts/speaker';
import { pulses } from '../../src/callouts/signals';

const own: Voice = { lang: 'en-GB', localService: true };

function begin(voices: readonly Voice[] = [own]) {
  const heard: string[] = [];
  let now_ms = 0;
  const overs: (() => void)[] = [];
  const speaker = new Speaker(
    {
      voices: () => voices,
      speak: (text, _, over) => {
        heard.push(text);
        overs.push(over);
      },
      cancel: () => heard.push('hush'),
    },
    () => now_ms,
  );
  const say = (text: string, weight: Weight = 'event'): void =>
    speaker.say({ text, weight, kind: 'liftoff' } satisfies CallOut);
  return {
    speaker,
    say,
    heard,
    end: (which = overs.length - 1) => overs[which]?.(),
    pass: (ms: number) => (now_ms += ms),
  };
}

describe('a speaker', () => {
  it('says one thing, and then what waits', () => {
    const { say, heard, end } = begin();
    say('a');
    say('b');
    expect(heard).toEqual(['a']);
    end();
    expect(heard).toEqual(['a', 'b']);
  });
  it('lets a newer altitude take the place of an older one, and none the place of an event', () => {
    const { say, heard, end } = begin();
    say('a');
    say('500 metres', 'altitude');
    say('600 metres', 'altitude');
    end();
    expect(heard).toEqual(['a', '600 metres']);
    say('Apogee');
    say('700 metres', 'altitude');
    end();
    end();
    expect(heard).toEqual(['a', '600 metres', 'Apogee']);
  });
  it('says nothing that has waited for more than two seconds', () => {
    const { say, heard, end, pass } = begin();
    say('a');
    say('late');
    pass(2001);
    end();
    say('b');
    expect(heard).toEqual(['a', 'b']);
  });
  it('breaks off for a warning, and what was broken off ends nothing', () => {
    const { say, heard, end } = begin();
    say('a');
    say('Warning', 'warning');
    say('b');
    end(0);
    expect(heard).toEqual(['a', 'hush', 'Warning']);
    end();
    expect(heard).toEqual(['a', 'hush', 'Warning', 'b']);
  });
  it('goes on when a browser never says that it has ended', () => {
    const { say, heard, pass } = begin();
    say('a');
    pass(8001);
    say('b');
    expect(heard).toEqual(['a', 'b']);
  });
  it.each([
    [[], undefined],
    [[{ lang: 'en', localService: false }], undefined],
    [[{ lang: 'de', localService: true }, own], own],
    [[{ lang: 'de', localService: true }], { lang: 'de', localService: true }],
  ])('of the voices %j takes %j: the device’s own, in the language of the words', (voices, voice) => {
    const { speaker, say, heard } = begin(voices);
    expect(speaker.voice()).toEqual(voice);
    say('a');
    expect(heard).toEqual(voice ? ['a'] : []);
  });
});

it('counts pulses as alerts count strokes', () => {
  const count = (level: 'caution' | 'warning'): number => pulses(level).filter((_, i) => i % 2 === 0).length;
  expect([count('caution'), count('warning')]).toEqual([2, 3]);
});
