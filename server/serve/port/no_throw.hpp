#pragma once
/// co_await with it gives an error code instead of throwing.
#include <boost/asio/as_tuple.hpp>
#include <boost/asio/use_awaitable.hpp>

namespace turnstone {

inline constexpr auto kNoThrow = boost::asio::as_tuple(boost::asio::use_awaitable);

} // namespace turnstone
