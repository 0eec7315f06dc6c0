/** Stands in for the Draco decoder, which loads a file of its own: the page reads plain and meshopt glTF. */
export default {
  createDecoderModule: (): Promise<never> =>
    Promise.reject(new Error('Draco compression is not read in the page; the program on the command line reads it')),
};
