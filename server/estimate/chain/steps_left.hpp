#pragma once
/// What a chain's linear filters leave behind for a backward pass. Navigation's attitude filter leaves nothing: it is a
/// bank of headings that are mixed, dropped and begun again, and no one Gaussian went forward that could be gone back
/// along. Position and velocity stand on the translation filter below it.
#include "server/estimate/smoothing/forward_pass.hpp"
#include "server/estimate/translation/translation_state.hpp"
#include "server/estimate/vertical/vertical_model.hpp"

namespace turnstone::estimate {

struct StepsLeft {
    ForwardPass<kVerticalStates> vertical;
    ForwardPass<TranslationState::kSize> translation;
    double reference_sigma_m = 0; ///< by which all heights above the pad may be wrong together
};

} // namespace turnstone::estimate
