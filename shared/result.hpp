#pragma once
/// Recoverable failure across modules: a value or one sentence that says what was wrong, where, and what to do.
#include <string>
#include <utility>

#include <tl/expected.hpp>

namespace turnstone {

/// `message` is for the person who has to fix it: what was wrong, where, and what was expected.
struct Error {
    std::string message;
};

template <class T>
using Result = tl::expected<T, Error>;

inline tl::unexpected<Error> fail(std::string message) {
    return tl::unexpected<Error>(Error{std::move(message)});
}

} // namespace turnstone
