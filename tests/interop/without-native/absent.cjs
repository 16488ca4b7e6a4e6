throw new Error('the native reader is optional and left out of these tests');
