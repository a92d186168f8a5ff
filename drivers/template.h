/** @file template.h
 * The tables of template.c, for its test. A copy needs no header: list.h declares what it lists.
 */
#ifndef DRIVERS_TEMPLATE_H
#define DRIVERS_TEMPLATE_H

#include "lugmark/driver.h"

extern const struct lm_driver_ops lm_driver_template;
extern const struct lm_decoder_ops lm_decoder_template;

#endif
