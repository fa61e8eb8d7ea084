/* Which sources a compiled kernel was made of, see build.py. */

#include "kernel.h"

#ifndef SURVEY_STAMP
#define SURVEY_STAMP ""
#endif

ENTRY const char *survey_stamp(void);
ENTRY const char *survey_stamp(void) { return SURVEY_STAMP; }
