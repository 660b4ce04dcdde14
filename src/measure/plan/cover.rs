//! The fewest sets that serve everybody.

/// So many sets are looked through exactly.
pub const EXACT_UP_TO: usize = 12;

/// So many steps are spent on a better choice among covers of the same size.
const MOST_STEPS: usize = 100_000;

/// The sets that were chosen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cover {
    /// In ascending order.
    pub chosen: Vec<usize>,
    /// No smaller number of sets would do.
    pub exact: bool,
}

/// Who is served, one bit each.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Served(Vec<u64>);

impl Served {
    fn none(size: usize) -> Served {
        Served(vec![0; size.div_ceil(64)])
    }

    fn of(ranks: &[Option<u32>]) -> Served {
        let mut served = Served::none(ranks.len());
        for (index, rank) in ranks.iter().enumerate() {
            if rank.is_some()
                && let Some(word) = served.0.get_mut(index / 64)
            {
                *word |= 1 << (index % 64);
            }
        }
        served
    }

    fn has(&self, index: usize) -> bool {
        let word = self.0.get(index / 64);
        word.is_some_and(|word| word >> (index % 64) & 1 == 1)
    }

    fn add(&mut self, other: &Served) {
        for (word, more) in self.0.iter_mut().zip(&other.0) {
            *word |= more;
        }
    }

    fn with(&self, other: &Served) -> Served {
        let mut both = self.clone();
        both.add(other);
        both
    }

    fn holds(&self, other: &Served) -> bool {
        let mut words = self.0.iter().zip(&other.0);
        words.all(|(word, other)| other & !word == 0)
    }

    fn count(&self) -> u32 {
        self.0.iter().map(|word| word.count_ones()).sum()
    }
}

/// What orders covers: the fewest sets, the smallest sum of ranks, then the order of the sets.
type Merit = (usize, u64, Vec<usize>);

struct Search<'a> {
    ranks: &'a [Vec<Option<u32>>],
    served: Vec<Served>,
    /// Everybody whom some set serves.
    all: Served,
    /// Each of those with the sets that do, who has the fewest first.
    serving: Vec<(usize, Vec<usize>)>,
}

/// The fewest sets that serve everybody whom any set serves. `ranks` has a row for each set, in the order that decides where all
/// else is equal, and in it for each person at which rank the set serves that person; rows are of one length. Among
/// covers of the same size that with the smallest sum of ranks is taken, each person being served at the best rank.
///
/// Exact where no more than [`EXACT_UP_TO`] sets are left, once those are left aside that serve nobody whom another one does
/// not serve too. Else a greedy one: again and again the set that serves most of those who are left.
pub fn cover(ranks: &[Vec<Option<u32>>]) -> Cover {
    let served: Vec<Served> = ranks.iter().map(|row| Served::of(row)).collect();
    let people = ranks.first().map_or(0, Vec::len);
    let mut all = Served::none(people);
    for one in &served {
        all.add(one);
    }
    let serve = |person: usize| {
        let sets = 0..ranks.len();
        let sets: Vec<usize> = sets.filter(|set| served[*set].has(person)).collect();
        (person, sets)
    };
    let mut serving: Vec<_> = (0..people).filter(|one| all.has(*one)).map(serve).collect();
    serving.sort_by_key(|(_, sets)| sets.len());
    let search = Search {
        ranks,
        served,
        all,
        serving,
    };
    let useful: Vec<usize> = (0..ranks.len())
        .filter(|set| search.served[*set].count() > 0)
        .collect();
    let few = match useful.len() <= EXACT_UP_TO {
        true => useful.clone(),
        false => search.undominated(&useful),
    };
    if few.len() > EXACT_UP_TO {
        return Cover {
            chosen: search.greedy(&useful),
            exact: false,
        };
    }
    let mut best = search.exact(&few);
    if few.len() < useful.len() {
        // Which of many covers of that size is the best, those that were left aside decide too.
        let mut steps = MOST_STEPS;
        let nobody = Served::none(people);
        search.refine(&mut Vec::new(), &nobody, &mut best, &mut steps);
    }
    Cover {
        chosen: best.2,
        exact: true,
    }
}

impl Search<'_> {
    /// Leaves aside each set that serves nobody whom another one, better or earlier, does not serve too.
    fn undominated(&self, sets: &[usize]) -> Vec<usize> {
        let beats = |other: usize, set: usize| {
            let (mine, others) = (&self.served[set], &self.served[other]);
            other != set
                && others.holds(mine)
                && (others.count() > mine.count()
                    || (self.sum(&[other], mine), other) < (self.sum(&[set], mine), set))
        };
        sets.iter()
            .copied()
            .filter(|set| !sets.iter().any(|other| beats(*other, *set)))
            .collect()
    }

    /// The sum of the ranks at which sets serve some people, each by the best of them.
    fn sum(&self, sets: &[usize], people: &Served) -> u64 {
        let count = self.ranks.first().map_or(0, Vec::len);
        (0..count)
            .filter(|person| people.has(*person))
            .filter_map(|person| {
                let ranks = sets.iter().filter_map(|set| self.ranks[*set][person]);
                ranks.min().map(u64::from)
            })
            .sum()
    }

    fn merit(&self, mut sets: Vec<usize>) -> Merit {
        sets.sort_unstable();
        (sets.len(), self.sum(&sets, &self.all), sets)
    }

    /// The best of all covers by a few sets.
    fn exact(&self, sets: &[usize]) -> Merit {
        let mut best = self.merit(sets.to_vec());
        for mask in 0_u32..1 << sets.len() {
            if mask.count_ones() as usize > best.0 {
                continue;
            }
            let some = sets.iter().enumerate();
            let some: Vec<usize> = some
                .filter(|(index, _)| mask >> index & 1 == 1)
                .map(|(_, set)| *set)
                .collect();
            let mut served = Served::none(self.ranks.first().map_or(0, Vec::len));
            for set in &some {
                served.add(&self.served[*set]);
            }
            if served.holds(&self.all) {
                best = best.min(self.merit(some));
            }
        }
        best
    }

    /// Looks through the covers of the size of the best one, as long as there are steps left.
    fn refine(
        &self,
        chosen: &mut Vec<usize>,
        served: &Served,
        best: &mut Merit,
        steps: &mut usize,
    ) {
        if *steps == 0 {
            return;
        }
        *steps -= 1;
        let left = self.serving.iter().find(|(person, _)| !served.has(*person));
        let Some((_, sets)) = left else {
            let found = self.merit(chosen.clone());
            if found < *best {
                *best = found;
            }
            return;
        };
        if chosen.len() >= best.0 {
            return;
        }
        for set in sets {
            chosen.push(*set);
            self.refine(chosen, &served.with(&self.served[*set]), best, steps);
            chosen.pop();
        }
    }

    /// Takes the set that serves most of those who are left, again and again; then drops those that turn out needless.
    fn greedy(&self, sets: &[usize]) -> Vec<usize> {
        let mut chosen: Vec<usize> = Vec::new();
        let mut left = self.all.clone();
        while left.count() > 0 {
            let gain = |set: usize| {
                let mut gain = left.clone();
                for (word, has) in gain.0.iter_mut().zip(&self.served[set].0) {
                    *word &= has;
                }
                gain
            };
            let next = sets.iter().copied().max_by_key(|set| {
                let gain = gain(*set);
                let sum = self.sum(&[*set], &gain);
                (gain.count(), std::cmp::Reverse((sum, *set)))
            });
            let Some(next) = next.filter(|next| gain(*next).count() > 0) else {
                break;
            };
            for (word, has) in left.0.iter_mut().zip(&self.served[next].0) {
                *word &= !has;
            }
            chosen.push(next);
        }
        for set in chosen.clone() {
            let mut others = Served::none(self.ranks.first().map_or(0, Vec::len));
            for other in chosen.iter().filter(|other| **other != set) {
                others.add(&self.served[*other]);
            }
            if others.holds(&self.all) {
                chosen.retain(|other| *other != set);
            }
        }
        chosen.sort_unstable();
        chosen
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn rows(text: &[&str]) -> Vec<Vec<Option<u32>>> {
        let rank = |mark: char| mark.to_digit(10);
        text.iter()
            .map(|row| row.chars().map(rank).collect())
            .collect()
    }

    #[test]
    fn the_fewest_sets_that_serve_everybody() {
        for (text, chosen) in [
            // By hand: one set for all; two of three; what nobody serves asks for nothing.
            (&["1-1", "111", "-1-"][..], &[1][..]),
            (&["11--", "-11-", "--11"], &[0, 2]),
            (&["1--", "-1-"], &[0, 1]),
            (&["--", "--"], &[]),
            (&[], &[]),
            // As few sets: the smaller sum of ranks; then the order.
            (&["21", "12", "11"], &[2]),
            (&["21", "12"], &[0]),
            (&["1-9", "1-1", "-11"], &[0, 2]),
            (&["1-1", "1-9", "-12"], &[0, 2]),
        ] {
            let found = cover(&rows(text));
            assert_eq!(found.chosen, chosen, "{text:?}");
            assert!(found.exact);
        }
    }

    #[test]
    fn a_greedy_choice_says_so() {
        // Thirteen people, each with a set of two neighbours: no set is needless, and the ring needs seven.
        let ring: Vec<Vec<Option<u32>>> = (0..13)
            .map(|set| {
                let mut row = vec![None; 13];
                row[set] = Some(1);
                row[(set + 1) % 13] = Some(1);
                row
            })
            .collect();
        let found = cover(&ring);
        assert!(!found.exact);
        assert_eq!(found.chosen.len(), 7);
        // With one more that serves them all, one is left once the others are left aside.
        let mut more = ring;
        more.push(vec![Some(9); 13]);
        let found = cover(&more);
        assert_eq!((found.chosen, found.exact), (vec![13], true));
    }

    #[test]
    fn sets_that_were_left_aside_decide_among_covers_of_one_size() {
        // The thirteenth serves all, and so does the fourteenth, at better ranks; the others serve one each.
        let mut sets: Vec<Vec<Option<u32>>> = (0..12)
            .map(|set| {
                let mut row = vec![None; 12];
                row[set] = Some(1);
                row
            })
            .collect();
        sets.push(vec![Some(5); 12]);
        sets.push([vec![Some(4)], vec![Some(5); 11]].concat());
        assert_eq!(cover(&sets).chosen, [13]);
        // Two sets share the people between them in two ways; the smaller ones, which others hold, have the better ranks.
        let mut sets = rows(&["55555-", "-55555", "1111--", "--1111"]);
        sets.extend((0..10).map(|_| vec![Some(9), None, None, None, None, None]));
        assert_eq!(cover(&sets).chosen, [2, 3]);
    }

    /// Whether sets serve everybody who can be.
    fn serves_all(ranks: &[Vec<Option<u32>>], sets: &[usize]) -> bool {
        let people = ranks.first().map_or(0, Vec::len);
        (0..people).all(|person| {
            ranks.iter().all(|row| row[person].is_none())
                || sets.iter().any(|set| ranks[*set][person].is_some())
        })
    }

    fn sum(ranks: &[Vec<Option<u32>>], sets: &[usize]) -> u32 {
        let people = ranks.first().map_or(0, Vec::len);
        (0..people)
            .filter_map(|person| sets.iter().filter_map(|set| ranks[*set][person]).min())
            .sum()
    }

    fn tables(sets: usize) -> impl Strategy<Value = Vec<Vec<Option<u32>>>> {
        (1_usize..=sets, 1_usize..9).prop_flat_map(|(sets, people)| {
            let rank = proptest::option::weighted(0.4, 1_u32..6);
            let row = proptest::collection::vec(rank, people);
            proptest::collection::vec(row, sets)
        })
    }

    proptest! {
        #[test]
        fn no_other_cover_is_better(ranks in tables(9)) {
            let found = cover(&ranks);
            prop_assert!(found.exact && serves_all(&ranks, &found.chosen));
            let merit = |sets: &[usize]| (sets.len(), sum(&ranks, sets), sets.to_vec());
            for mask in 0..1_usize << ranks.len() {
                let sets: Vec<usize> = (0..ranks.len()).filter(|set| mask >> set & 1 == 1).collect();
                if serves_all(&ranks, &sets) {
                    prop_assert!(merit(&found.chosen) <= merit(&sets));
                }
            }
        }

        #[test]
        fn many_sets_are_covered_too(ranks in tables(40)) {
            let found = cover(&ranks);
            prop_assert!(serves_all(&ranks, &found.chosen));
            // None is needless.
            for set in &found.chosen {
                let others: Vec<usize> = found.chosen.iter().copied().filter(|other| other != set).collect();
                prop_assert!(!serves_all(&ranks, &others));
            }
        }
    }
}
