/* The ways around for many lines, see survey/propagation/around/__init__.py. */

#include "around.h"

/* Where the figures of the lines go; rows of passes beyond the capacity are counted and not kept. */
typedef struct {
    double *loss_db, *leave_deg, *arrive_deg, *grazed_db, *through_db;
    index_t *mirror, *grazed_solid;
    index_t capacity, count, *line, *way, *obstacle;
    double *passes, *power;
} Ways;

static double elevation_deg(const double *here, const double *there)
{
    double dx = there[0] - here[0], dy = there[1] - here[1];
    return atan2(there[2] - here[2], sqrt(dx * dx + dy * dy)) * (180.0 / PI);
}

static double asin_deg(double sine) { return asin(sine < -1.0 ? -1.0 : sine > 1.0 ? 1.0 : sine) * (180.0 / PI); }

/* Elevations at both ends of the strongest string of a way. */
static void elevations_deg(const Workspace *work, const Line *line, int way, double *leave_deg, double *arrive_deg)
{
    const Arrival *strings[ROOM_STRINGS + 1], *best = NULL;
    int count = strings_of(work, way, strings);
    for (int i = 0; i < count; i++)
        if (!best || mean_power(strings[i]) > mean_power(best)) best = strings[i];
    if (!best) return;
    const double *off = way == OVER ? line->up : line->left;
    *leave_deg = asin_deg(best->leave.x * line->along[2] + best->leave.y * off[2]);
    *arrive_deg = asin_deg(-best->arrive.x * line->along[2] - best->arrive.y * off[2]);
}

static void add_pass(Ways *ways, index_t line, index_t way, index_t obstacle, double passes, double power)
{
    index_t row = ways->count++;
    if (row >= ways->capacity) return;
    ways->line[row] = line;
    ways->way[row] = way;
    ways->obstacle[row] = obstacle;
    ways->passes[row] = passes;
    ways->power[row] = power;
}

/* Whether a line is worked out from its end: from the lower one, or from the one nearer to all that stands there. */
static bool begins_at_end(const Bodies *bodies, const double *start, const double *end)
{
    if (fabs(start[2] - end[2]) > SAME_M) return end[2] < start[2];
    double here = 0.0, there = 0.0;
    for (int i = 0; i < bodies->solids; i++) {
        const double *centre = bodies->centre_m + 3 * i;
        double a[3] = {start[0] - centre[0], start[1] - centre[1], start[2] - centre[2]}, b[3] = {end[0] - centre[0], end[1] - centre[1], end[2] - centre[2]};
        here += 1.0 / (1.0 + a[0] * a[0] + a[1] * a[1] + a[2] * a[2]);
        there += 1.0 / (1.0 + b[0] * b[0] + b[1] * b[1] + b[2] * b[2]);
    }
    return there > here * (1.0 + SAME_M);
}

/* Work out one line, from the same end whichever comes first; false without memory. */
static bool one_line(const Bodies *bodies, Workspace *work, Workspace *mirror_work, Integrals *integrals, index_t number, const double *start,
                     const double *end, double wavelength_m, const double *weights, Ways *ways)
{
    bool turned_round = begins_at_end(bodies, start, end);
    const double *first = turned_round ? end : start;
    end = turned_round ? start : end;
    start = first;
    const int seen[WAYS] = {OVER, turned_round ? RIGHT : LEFT, turned_round ? LEFT : RIGHT, REFLECTED};
    double *leave_deg = (turned_round ? ways->arrive_deg : ways->leave_deg) + number, *arrive_deg = (turned_round ? ways->leave_deg : ways->arrive_deg) + number;
    Line line = line_of(start, end);
    Found found;
    Mirrored mirrored[MAX_STRAIGHT + MAX_TURNED];
    double powers[WAYS] = {0.0}, straight = 0.0;
    if (line.length_m < 1e-6) return true;
    integrals->known_count = integrals->oldest = 0;
    int some = line_powers(bodies, work, integrals, &line, wavelength_m, NULL, NULL, MAX_LOSS_DB, &found);
    if (some <= 0) return some == 0;
    for (int field = 0; field < 2; field++) {
        const Power *one = found.powers + field;
        powers[OVER] += weights[field] * one->over;
        powers[LEFT] += weights[field] * one->left;
        powers[RIGHT] += weights[field] * one->right;
        straight += weights[field] * one->straight;
    }
    straight = smaller(straight, 1.0);
    double through = straight * pow(10.0, -found.through_db / 10.0), turned = powers[OVER] + powers[LEFT] + powers[RIGHT];
    if (turned + through > 1.0) {
        double share = larger(1.0 - through, 0.0) / turned;
        for (int way = OVER; way < REFLECTED; way++) powers[way] *= share;
        turned *= share;
    }
    double whole = through + turned;
    int mirrors = 0;
    if (whole < FREE) {
        mirrors = mirror_ways(bodies, mirror_work, integrals, start, end, wavelength_m, whole, mirrored);
        if (mirrors < 0) return false;
        for (int i = 0; i < mirrors; i++)
            powers[REFLECTED] += weights[0] * mirrored[i].powers[0] + weights[1] * mirrored[i].powers[1];
        powers[REFLECTED] = smaller(powers[REFLECTED], FREE - whole);
    }
    ways->grazed_db[number] = larger(-10.0 * log10(larger(straight, 1e-12)), 0.0);
    ways->grazed_solid[number] = found.nearest;
    ways->through_db[number] = found.through_db;
    int best = OVER;
    for (int way = OVER; way < WAYS; way++) {
        if (powers[way] > MIN_POWER) ways->loss_db[WAYS * number + seen[way]] = -10.0 * log10(powers[way]);
        if (powers[way] > powers[best]) best = way;
    }
    if (powers[best] > MIN_POWER) {
        if (best == REFLECTED) {
            *leave_deg = elevation_deg(start, mirrored[0].at_m);
            *arrive_deg = elevation_deg(end, mirrored[0].at_m);
        } else {
            elevations_deg(work, &line, best, leave_deg, arrive_deg);
        }
    }
    if (powers[REFLECTED] > MIN_POWER) ways->mirror[number] = mirrored[0].sheet;
    for (int shown = OVER; shown < WAYS; shown++) {
        int way = seen[shown];
        if (powers[way] <= MIN_POWER) continue;
        Passes *passes = way == REFLECTED ? &mirror_work->passes : &work->passes;
        double total = 1.0;
        if (way == REFLECTED) {
            total = 0.0;
            for (int i = 0; i < mirrors; i++) total += 0.5 * (mirrored[i].powers[0] + mirrored[i].powers[1]);
        } else {
            passes->count = 0;
            if (!add_passes(bodies, work, way, 1.0, passes)) return false;
        }
        for (int i = 0; i < passes->count; i++)
            add_pass(ways, number, shown, passes->items[i].obstacle, passes->items[i].power / larger(total, 1e-15), powers[way]);
    }
    return true;
}

static void clear(Workspace *work)
{
    for (int i = 0; i < 3; i++) {
        Section *section = work->sections + i;
        Scratch *scratch = work->scratch + i;
        free(section->segments);
        free(section->ends);
        free(section->x1);
        free(section->near);
        free(section->corners);
        free(section->joints);
        free(section->arms);
        free(scratch->steps);
        free(scratch->open);
        free(scratch->passed);
        free(scratch->beside_solids);
        free(scratch->hits);
        free(scratch->corner_hits);
        free(scratch->useful);
        free(scratch->useful_x);
        free(scratch->may_hit);
        free(scratch->beside);
    }
    free(work->spheres);
    free(work->places);
    free(work->corners);
    free(work->chosen);
    free(work->used);
    free(work->crossed);
    free(work->passes.items);
    free(work->own.items);
    free(work->through);
    free(work->chords);
    free(work);
}

/* Gives how many rows of passes there are, or would be; -1 where memory runs out. All figures but grazed_db, which is 0, are to be
   set to what stands for nothing before. */
ENTRY index_t survey_around(index_t sheets, index_t solids, index_t table_steps, index_t plants, const double *corner_m, const int32_t *first,
                            const double *normal, const double *offset_m, const double *loss_db, const int32_t *table,
                            const double *table_db, const int32_t *obstacle, const int32_t *solid, const uint8_t *mirror,
                            const int32_t *solid_first, const double *centre_m, const double *radius_m, const int32_t *touch_first,
                            const int32_t *touch, const int32_t *plant_first, const double *plant_xy_m, const double *plant_base_m,
                            const double *plant_top_m, const double *plant_db_per_m, const double *plant_most_db, const double *points, const double *weights, const double *span_points,
                            const double *span_weights, index_t lines, const double *starts, const double *ends, double wavelength_m,
                            const double *polarisation, double *way_db, index_t *way_mirror, double *through_db, double *leave_deg, double *arrive_deg,
                            double *grazed_db, index_t *grazed_solid, index_t capacity, index_t *pass_line, index_t *pass_way,
                            index_t *pass_obstacle, double *pass_count, double *pass_power);

ENTRY index_t survey_around(index_t sheets, index_t solids, index_t table_steps, index_t plants, const double *corner_m, const int32_t *first,
                            const double *normal, const double *offset_m, const double *loss_db, const int32_t *table,
                            const double *table_db, const int32_t *obstacle, const int32_t *solid, const uint8_t *mirror,
                            const int32_t *solid_first, const double *centre_m, const double *radius_m, const int32_t *touch_first,
                            const int32_t *touch, const int32_t *plant_first, const double *plant_xy_m, const double *plant_base_m,
                            const double *plant_top_m, const double *plant_db_per_m, const double *plant_most_db, const double *points, const double *weights, const double *span_points,
                            const double *span_weights, index_t lines, const double *starts, const double *ends, double wavelength_m,
                            const double *polarisation, double *way_db, index_t *way_mirror, double *through_db, double *leave_deg, double *arrive_deg,
                            double *grazed_db, index_t *grazed_solid, index_t capacity, index_t *pass_line, index_t *pass_way,
                            index_t *pass_obstacle, double *pass_count, double *pass_power)
{
    Bodies bodies = {corner_m,    normal,         offset_m,      loss_db,     table_db,    centre_m,      radius_m,         plant_xy_m,
                     plant_base_m, plant_top_m,   plant_db_per_m, plant_most_db, first,    table,         obstacle,         solid,
                     solid_first, touch_first,    touch,         plant_first, mirror,      (int)sheets,   (int)solids,      (int)table_steps,
                     (int)plants};
    Ways ways = {way_db,   leave_deg, arrive_deg, grazed_db,     through_db, way_mirror, grazed_solid,
                 capacity, 0,         pass_line,  pass_way,      pass_obstacle, pass_count, pass_power};
    Workspace *work = calloc(1, sizeof *work), *mirror_work = calloc(1, sizeof *mirror_work);
    Integrals *integrals = calloc(1, sizeof *integrals);
    bool works = work && mirror_work && integrals;
    if (works) {
        integrals->points = points;
        integrals->weights = weights;
        integrals->span_points = span_points;
        integrals->span_weights = span_weights;
    }
    for (index_t i = 0; i < lines && works; i++)
        works = one_line(&bodies, work, mirror_work, integrals, i, starts + 3 * i, ends + 3 * i, wavelength_m, polarisation, &ways);
    if (work) clear(work);
    if (mirror_work) clear(mirror_work);
    free(integrals);
    return works ? ways.count : -1;
}
