/* Mirror paths, see survey/propagation/around/mirrors.py. */

#include "around.h"

/* A mirror that may bring something. */
typedef struct {
    double power, scale, at_m[3]; /* scale: what its longer way leaves, and how much it is a way of its own */
    Image image;
    Line line;
    Window window;
} Candidate;

/* From where to where a mirror reaches in a plane of its line, measured across the line where that meets it. */
static void outline(const Bodies *bodies, int sheet, const Line *line, double x, int plane, double *low, double *high)
{
    const double *out = plane ? line->up : line->left, *off = plane ? line->left : line->up;
    int from = bodies->first[sheet], to = bodies->first[sheet + 1], found = 0;
    double lows = INFINITY, highs = -INFINITY, last[2] = {0.0, 0.0};
    *low = INFINITY;
    *high = -INFINITY;
    for (int pass = 0; pass < 2; pass++) { /* first its extent beside the plane, then where it cuts the plane, or nearly */
        double inside = smaller(1e-3, 0.25 * (highs - lows)), shift = smaller(larger(0.0, lows + inside), highs - inside);
        for (int c = pass ? from - 1 : from; c < to; c++) {
            const double *corner = bodies->corner_m + 3 * (c < from ? to - 1 : c);
            double d[3] = {corner[0] - line->start_m[0], corner[1] - line->start_m[1], corner[2] - line->start_m[2]};
            double u = dot(d, line->along), scale = u > 1e-6 ? x / u : 1.0, a = dot(d, off) * scale, p = dot(d, out) * scale;
            if (!pass) {
                lows = smaller(lows, p);
                highs = larger(highs, p);
                continue;
            }
            if (c >= from && (last[1] > shift) != (p > shift)) {
                double at = last[0] + (shift - last[1]) / (p - last[1]) * (a - last[0]);
                *low = smaller(*low, at);
                *high = larger(*high, at);
                found++;
            }
            last[0] = a;
            last[1] = p;
        }
    }
    if (found < 2) *low = *high = 1e3; /* seen edge on */
}

/* The path by way of one sheet as if nothing else stood there; false for none. */
static bool candidate(const Bodies *bodies, Integrals *integrals, int sheet, const double *start_m, const double *end_m, double direct_m,
                      double wavelength_m, Candidate *one)
{
    const double *square = bodies->normal + 3 * sheet;
    double n[3] = {square[0], square[1], square[2]}, offset = bodies->offset_m[sheet];
    double away_1 = dot(n, start_m) - offset, away_2 = dot(n, end_m) - offset;
    if (away_1 * away_2 <= 0.0 || smaller(fabs(away_1), fabs(away_2)) <= ON_MIRROR_M) return false;
    if (away_1 < 0.0) {
        for (int i = 0; i < 3; i++) n[i] = -n[i];
        offset = -offset;
        away_1 = -away_1;
        away_2 = -away_2;
    }
    int solid = bodies->solid[sheet];
    if (bodies->solid_first[solid + 1] - bodies->solid_first[solid] > 1 && dot(n, bodies->centre_m + 3 * solid) - offset > 0.0) return false;
    double start[3] = {start_m[0] - 2.0 * away_1 * n[0], start_m[1] - 2.0 * away_1 * n[1], start_m[2] - 2.0 * away_1 * n[2]};
    Line line = line_of(start, end_m);
    double own = smooth(2.0 * sqrt(larger(line.length_m - direct_m, 0.0) / wavelength_m) / OWN_WAY_NU);
    if (own <= 0.0) return false;
    double x = line.length_m * away_1 / (away_1 + away_2);
    Window window = {.x = x};
    for (int plane = 0; plane < 2; plane++) outline(bodies, sheet, &line, x, plane, window.low + plane, window.high + plane);
    double across = opening(integrals, &window, 0, &line, wavelength_m), aside = opening(integrals, &window, 1, &line, wavelength_m);
    double both = smaller(across * aside, 1.0), ratio = direct_m / line.length_m;
    one->scale = own * ratio * ratio;
    one->power = both * both * one->scale;
    one->image.sheet = sheet;
    one->image.offset_m = offset;
    for (int i = 0; i < 3; i++) {
        one->image.normal[i] = n[i];
        one->at_m[i] = start[i] + x * line.along[i];
    }
    one->line = line;
    one->window = window;
    return one->power > 0.0;
}

/* Paths by way of the mirrors that bring more than `least`, the strongest first, MAX_PATHS at most; -1 without memory. */
int mirror_ways(const Bodies *bodies, Workspace *work, Integrals *integrals, const double *start_m, const double *end_m,
                double wavelength_m, double least, Mirrored *found)
{
    double d[3] = {end_m[0] - start_m[0], end_m[1] - start_m[1], end_m[2] - start_m[2]}, direct_m = sqrt(dot(d, d)), best = 0.0;
    Candidate most[MAX_PATHS]; /* the strongest first, of equal ones the first sheet */
    int count = 0, kept = 0;
    for (int sheet = 0; sheet < bodies->sheets; sheet++) {
        Candidate one;
        if (!bodies->mirror[sheet] || !candidate(bodies, integrals, sheet, start_m, end_m, direct_m, wavelength_m, &one)) continue;
        if (!(one.power > least) || (count == MAX_PATHS && !(one.power > most[count - 1].power))) continue;
        int place = count < MAX_PATHS ? count++ : count - 1;
        for (; place > 0 && most[place - 1].power < one.power; place--) most[place] = most[place - 1];
        most[place] = one;
    }
    for (int i = 0; i < count; i++) {
        const Candidate *one = most + i;
        Mirrored way = {one->image.sheet, {one->power, one->power}, {one->at_m[0], one->at_m[1], one->at_m[2]}};
        Found powers;
        if (one->power < LEAST_SHARE * best) break;
        double useful_db = smaller(MAX_LOSS_DB, 10.0 * log10(one->scale / larger(least, 1e-12)));
        int some = line_powers(bodies, work, integrals, &one->line, wavelength_m, &one->image, &one->window, useful_db, &powers);
        if (some < 0) return -1;
        if (some) {
            double through = powers.clear ? 1.0 : pow(10.0, -powers.through_db / 10.0);
            for (int field = 0; field < 2; field++) {
                const Power *each = powers.powers + field;
                double turned = powers.clear ? 0.0 : (each->over + each->left + each->right) * one->scale;
                way.powers[field] = turned + each->straight * one->power * through;
            }
        }
        best = larger(best, 0.5 * (way.powers[0] + way.powers[1]));
        int place = kept++;
        for (; place > 0; place--) {
            double before = found[place - 1].powers[0] + found[place - 1].powers[1], this = way.powers[0] + way.powers[1];
            if (before > this || (before == this && found[place - 1].sheet < way.sheet)) break;
            found[place] = found[place - 1];
        }
        found[place] = way;
    }
    return kept;
}
