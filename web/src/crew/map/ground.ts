/** The ground of the map: what the station has of it, fetched once, and its pictures as the view asks for them. */
import type { GroundPicture, GroundShape } from '../../draw/map_ground';
import { from_pad, type View } from '../../places/map';
import { tiles_of, type Tile } from '../../places/tiles';
import type { GeoPoint } from '../../stream/description';
import { fetch_site_map, kNoSiteMap, tile_address, type SiteMap } from '../../stream/site_map';

const kLoadingMost = 4;
const kKeptMost = 128;

export class Ground {
  /** Rises whenever there is more to draw. */
  version = 0;
  private map: SiteMap = kNoSiteMap;
  private readonly pictures = new Map<string, { image: HTMLImageElement; loaded: boolean }>();
  private loading = 0;
  private placed: { pad: GeoPoint; shapes: GroundShape[] } | undefined;

  /** `found`: what the station has. */
  constructor(found: (map: SiteMap) => void) {
    void fetch_site_map().then(
      (map) => {
        this.map = map;
        this.version++;
        found(map);
      },
      () => undefined, // an older station has none
    );
  }

  get attribution(): string {
    return this.map.tiles?.attribution ?? '';
  }

  shapes(pad: GeoPoint): readonly GroundShape[] {
    if (this.placed?.pad !== pad || this.placed.shapes.length === 0) {
      const place = (point: GeoPoint) => from_pad(pad, point);
      const shapes = this.map.overlays.flatMap(({ shapes: drawn }) =>
        drawn.map((shape) => ({ ...shape, parts: shape.parts.map((part) => part.map(place)) })),
      );
      this.placed = { pad, shapes };
    }
    return this.placed.shapes;
  }

  /** Those that have come, for a view; the others are asked for. */
  under(pad: GeoPoint, view: View, width: number, height: number): GroundPicture[] {
    const { tiles } = this.map;
    if (!tiles) return [];
    return tiles_of(pad, view, width, height, tiles).flatMap((tile) => {
      const picture = this.picture(tile);
      return picture ? [{ image: picture, north_west: tile.north_west, south_east: tile.south_east }] : [];
    });
  }

  private picture({ zoom, x, y }: Tile): HTMLImageElement | undefined {
    const address = tile_address(zoom, x, y);
    const known = this.pictures.get(address);
    if (known) return known.loaded ? known.image : undefined;
    if (this.loading >= kLoadingMost) return undefined;
    const [oldest] = this.pictures.keys();
    if (this.pictures.size >= kKeptMost && oldest !== undefined) this.pictures.delete(oldest);
    const image = new Image();
    const entry = { image, loaded: false };
    this.pictures.set(address, entry);
    this.loading++;
    const end = (loaded: boolean): void => {
      entry.loaded = loaded; // one that is not there is not asked for again
      this.loading--;
      this.version++;
    };
    image.onload = () => end(true);
    image.onerror = () => end(false);
    image.src = address;
    return undefined;
  }
}
