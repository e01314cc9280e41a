/** Places for other programs: geo URIs after RFC 5870, GPX 1.1 waypoints. */
import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { geo_uri, gpx_document, type Waypoint } from '../../src/recover/carry';

const { geo_uri: known, gpx } = JSON.parse(
  readFileSync(new URL('../reference/places.json', import.meta.url), 'utf8'),
) as {
  geo_uri: { id: string; uri: string; accept: boolean }[];
  gpx: { id: string; document: string }[];
};

/** RFC 5870, section 3.3, as far as it has no parameters of others; ranges of section 3.4.2. */
function accepts(uri: string): boolean {
  const found =
    /^geo:(-?\d+(?:\.\d+)?),(-?\d+(?:\.\d+)?)(?:,-?\d+(?:\.\d+)?)?(?:;crs=wgs84)?(?:;u=\d+(?:\.\d+)?)?(?:;[\w-]+(?:=[\w.%-]+)?)*$/i.exec(
      uri,
    );
  if (!found || /;crs=(?!wgs84)/i.test(uri) || /;u=.*;crs=/i.test(uri) || /;u=-/.test(uri)) return false;
  return Math.abs(Number(found[1])) <= 90 && Math.abs(Number(found[2])) <= 180;
}

describe('a geo URI', () => {
  it.each(known)('$id: the check of this test agrees with the standard', ({ uri, accept }) =>
    expect(accepts(uri)).toBe(accept),
  );
  it.each([
    [-41.30559, -14.88333, 3, 'geo:-41.305590,-14.883330;u=3'],
    [0, -1e-9, NaN, 'geo:0.000000,0.000000'],
    [5, 180, 0.2, 'geo:5.000000,-180.000000;u=1'],
    [1e-7, 12, NaN, 'geo:0.000000,12.000000'],
  ])('of %d, %d ± %d', (latitude_deg, longitude_deg, sigma_m, uri) => {
    expect(geo_uri({ latitude_deg, longitude_deg }, sigma_m)).toBe(uri);
    expect(accepts(uri)).toBe(true);
  });
});

const place: Waypoint = {
  latitude_deg: -21.3846,
  longitude_deg: 180,
  altitude_msl_m: 968.04,
  utc_ms: Date.UTC(2026, 4, 17, 14, 16, 23),
  name: 'A <b> & "c" \u0001\ud83d\ude80',
  description: ']]>',
};

describe('a GPX document', () => {
  it('has the elements of a waypoint in the order of the schema, and longitudes below 180', () => {
    const text = gpx_document([place]);
    const elements = (document: string) => [...document.matchAll(/<([a-z]+)[ >]/g)].map(([, name]) => name!);
    const valid = elements(gpx.find(({ id }) => id === 'waypoint')!.document);
    const common = elements(text).filter((name) => valid.includes(name));
    expect(common).toEqual(valid.filter((name) => common.includes(name)));
    expect(common).toEqual(['gpx', 'wpt', 'ele', 'time', 'name']);
    expect(text).toContain('<gpx version="1.1" creator="Turnstone" xmlns="http://www.topografix.com/GPX/1/1">');
    expect(text).toContain(
      '<wpt lat="-21.384600" lon="-180.000000"><ele>968.0</ele><time>2026-05-17T14:16:23.000Z</time><name>',
    );
  });
  it('escapes what a name may hold, and leaves out what XML has no place for', () => {
    const text = gpx_document([place]);
    expect(text).toContain('<name>A &lt;b&gt; &amp; &quot;c&quot; \ud83d\ude80</name><desc>]]&gt;</desc>');
    expect(text).not.toContain('\u0001');
  });
  it('leaves out what is not known', () => {
    const text = gpx_document([{ ...place, altitude_msl_m: NaN, utc_ms: NaN }]);
    expect(text).not.toMatch(/<ele>|<time>|NaN/);
  });
});
