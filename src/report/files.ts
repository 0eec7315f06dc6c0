/** Names of files that a run writes, apart from what writes them: whoever only looks for them has nothing to load. */
export const DRAWING_FILE = 'drawing.svg';
export const SECTION_FILES = ['sections.dxf', 'sections-in-place.dxf', 'sections.svg', 'stations.csv'] as const;
export const PRINT_FILE = 'stand-in.3mf';
export const FOAM_FILE = 'foam-layers.csv';
/** Of the mesh at the mould's size; its ending says the format. */
export const SCALED_NAME = 'mould-scaled';
