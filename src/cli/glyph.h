/* Big letters for a person three metres away. */
#ifndef LUGMARK_CLI_GLYPH_H
#define LUGMARK_CLI_GLYPH_H

#include <stddef.h>
#include <stdint.h>

#define LM_GLYPH_ROWS 5u
#define LM_GLYPH_COLUMNS 5u

/**
 * Rows of a letter, top first; bit 4 is the leftmost dot. Digits, A-Z, - and ? have one of their
 * own, small letters are those of the big ones, a blank is empty, anything else is a full block.
 */
const uint8_t *lm_glyph(char c);

/**
 * How often a dot is repeated along and down so that @p letters letters fit.
 * @param[out] across  Cells of a dot along, 0 when not even one fits.
 * @param[out] down    Cells of a dot down.
 */
void lm_glyph_scale(size_t letters, size_t columns, size_t rows, size_t *across, size_t *down);

/** Cells that a text takes at a scale, gaps between its letters included. */
size_t lm_glyph_width(size_t letters, size_t across);

#endif
