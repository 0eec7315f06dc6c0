/** Where the bytes of a scan come from: a file on disk, a dropped file in a page, an entry of an archive. */
export interface ByteSource {
  /** File name with extension; appears in faults and may help to tell the format. */
  readonly name: string;
  /** Bytes in all, if known beforehand. */
  readonly size?: number;
  /** All bytes. The reader never writes to them. */
  bytes(): Promise<Uint8Array>;
  /** The bytes piece by piece; where given it is preferred, so that memory does not hold the file beside the mesh. */
  chunks?(): AsyncIterable<Uint8Array>;
  /** A file named by this one (the buffers of a .gltf), by its path relative to this file. */
  sibling?(relative: string): Promise<Uint8Array>;
}

/** A source over bytes that are already in memory. */
export function bytesSource(name: string, bytes: Uint8Array): ByteSource {
  return { name, size: bytes.length, bytes: async () => bytes };
}

/** File name without folder and last extension: the name of a part that its file leaves unnamed. */
export function stemOf(name: string): string {
  const base = name.replace(/^.*[\\/:]/, '');
  return base.replace(/(\.[A-Za-z0-9]{1,5})?(\.gz)?$/i, '') || base;
}

/** Lower-case extension without the dot, that before ".gz" if there is one; '' if there is none. */
export const extensionOf = (name: string): string => /\.([A-Za-z0-9]{1,5})(\.gz)?$/i.exec(name)?.[1]?.toLowerCase() ?? '';
